"""Benches compared, as tables: offsets, and the scores of units that went round. All clinics go by codes."""

from collections.abc import Iterator

from registry.answers import cautions
from registry.answers.benches.answer import answer_benches
from registry.answers.exports.answertable import EDITION, SETTING, AnswerTable, Document
from registry.answers.exports.columns import count, number, text

BENCHES = AnswerTable(
    "benches",
    "one row a clinic and quantity; clinics go by codes",
    answer_benches,
    "benches",
    cautions.BENCHES,
    (
        EDITION,
        text("clinic", "the clinic's code in this comparison"),
        text("quantity", "vacuum or cycle_rate"),
        number("offset_percent", "how far the bench reads from the robust mean of all", "%"),
        number("low_percent", "lower end of its 95 % interval", "%"),
        number("high_percent", "upper end of it", "%"),
        number("declared_percent", "standard uncertainty that its gauges declare", "%"),
        number("z_prime", "z' score as in ISO 13528", "1"),
        text("reads", "how z' is read: acceptable, warning or action"),
        number("en", "E_n score against what the gauges declare", "1"),
        text("en_reads", "how E_n is read: acceptable or action"),
        count("units", "units read of builds that others read"),
        count("builds", "builds they are of"),
        count("others", "other clinics that read those builds"),
        text("state", "ok, or thin when the counts do not carry an offset"),
        text("missing", "what is missing when thin"),
    ),
    left_out=frozenset({"own"}),
)


def _by_score(row: Document) -> Iterator[Document]:
    """A row for each clinic's reading of each metric at each setting of a round."""
    of_round = {name: value for name, value in row.items() if name != "settings"}
    for setting in row["settings"]:
        of_setting = {name: value for name, value in setting.items() if name != "scores"}
        for score in setting["scores"]:
            yield {**of_round, **of_setting, **score}


ROUNDS = AnswerTable(
    "rounds",
    "one row a clinic, setting and metric of a unit that went round; figures are in `unit`. Clinics go by "
    "codes, which are others in each round",
    answer_benches,
    "rounds",
    cautions.BENCHES,
    (
        EDITION,
        text("pump_model", "name the unit is sold under"),
        text("serial", "serial number of the unit"),
        text("first_day", "first day it was measured on; empty when not said"),
        text("last_day", "last day it was measured on"),
        count("clinics", "clinics that measured it"),
        *SETTING,
        number("assigned", "robust mean of all clinics"),
        number("u_assigned", "its standard uncertainty"),
        number("s_robust", "robust standard deviation between clinics"),
        number("sigma", "standard deviation that clinics are assessed by"),
        text("by", "the score that counts: z or z_prime"),
        text("clinic", "the clinic's code in this round"),
        number("value", "what it read"),
        number("u", "standard uncertainty of that"),
        number("z", "z score as in ISO 13528", "1"),
        number("z_prime", "z' score as in ISO 13528", "1"),
        text("reads", "how the score that counts is read: acceptable, warning or action"),
        number("en", "E_n score against all other clinics", "1"),
        text("en_reads", "how E_n is read: acceptable or action"),
    ),
    left_out=frozenset({"own"}),
    spread=_by_score,
)
