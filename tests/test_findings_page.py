"""The findings are one closed list: that of the code, that of the page, and what is raised."""

import re
from pathlib import Path

import pytest

from registry.intake.findings import CATALOGUE as OF_INTAKE
from registry.intake.findings import INTAKE_CODES, note
from registry.waveform.findings import CATALOGUE as OF_TRACES
from tests.findings_page import SECTION, rows, table
from tests.page import PAGE

REGISTRY = Path(__file__).parent.parent / "registry"


def test_the_page_says_what_the_code_does():
    assert SECTION.of(PAGE.read_text()) == table()


def test_codes_are_given_once():
    codes = [code for code, _ in rows()]
    assert len(codes) == len(set(codes)) == len(OF_TRACES) + len(OF_INTAKE)
    assert set(INTAKE_CODES) <= OF_INTAKE.keys()


def test_every_code_in_the_list_is_raised_somewhere_and_no_other():
    raised = set()
    for path in REGISTRY.rglob("*.py"):
        for first in re.findall(r"\b(?:finding|note)\(([^,)]*)", path.read_text()):
            raised |= set(re.findall(r'"([a-z_]+)"', first))
    assert raised == {code for code, _ in rows()}


def test_severity_is_given_in_the_lists_only():
    given = re.compile(r'(?:Note|Finding|Entry)\(\s*"[a-z_]+",\s*"(?:hold|caution|note)"')
    giving = {path for path in REGISTRY.rglob("*.py") if given.search(path.read_text())}
    assert giving == set()


def test_every_hint_asks_for_something_a_person_can_do():
    verbs = "Declare Use Check Zero Record Name If Let Log Look Set Keep Charge Upload Nothing"
    doing = re.compile(rf"(?:{verbs.replace(' ', '|')})\b")
    for code, entry in rows():
        assert doing.match(entry.hint), code
        assert entry.hint.endswith("."), code
        assert entry.message.endswith((".", "{why}")), code
        assert len(entry.hint) <= 200, code


def test_messages_of_intake_are_cut_to_what_is_stored():
    assert len(note("unmeasured", edition=2, why="x" * 900).message) == 500
    with pytest.raises(KeyError):
        note("unheard_of")
