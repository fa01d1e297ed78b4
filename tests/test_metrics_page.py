"""The metrics of edition 1 are one closed list: that of the page, that of the code, and what is measured."""

import numpy as np

from registry.waveform import measure_reading
from registry.waveform.editions import edition_of
from tests.metrics_page import SECTION, table
from tests.page import PAGE

from .waveform.readings import EXACT, ZEROED, reading_of
from .waveform.truth import Bench, Pump, record


def test_the_page_says_what_the_code_does():
    assert SECTION.of(PAGE.read_text()) == table()


def test_cells_of_the_table_hold_together():
    for metric in edition_of(1).metrics.values():
        assert "|" not in metric.unit + metric.definition, metric.name
        assert metric.definition, metric.name


def test_a_sound_trace_has_every_metric_in_its_unit_and_no_other():
    reading = reading_of(record(Pump(), Bench(), np.random.default_rng(0)))
    found = measure_reading(reading, gauge=EXACT, declared=ZEROED).metrics
    assert [(name, quantity.unit) for name, quantity in found.items()] == [
        (metric.name, metric.unit) for metric in edition_of(1).metrics.values()
    ]
