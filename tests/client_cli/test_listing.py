"""`list-revision`: what it sends, what it shows, and what it does not send."""

LISTED = {
    "proposal": 4,
    "state": "open",
    "pump_model": "Pellomi",
    "change": {
        "dropped_spans": [{"revision": "A", "first": "LK000001", "last": "LK009999", "basis": "declared"}],
        "spans": [
            {"revision": "A", "first": "LK000001", "last": "LK000170", "basis": "declared"},
            {"revision": "A2", "first": "LK000180", "last": "LK000250", "basis": "observed"},
        ],
    },
    "foreseen": {"says": "8 units from revision A to revision A2."},
    "says": "Proposal 4: 8 units from revision A to revision A2. Another curator confirms it.",
}


def test_it_sends_label_order_and_marks(vacuary, filled):
    filled.answers["POST", "alerts/12/list"] = (201, LISTED)
    ran = vacuary("list-revision", "12", "A2", "--order", "3", "--mark", "housing=blue", "--json")
    assert ran.json == LISTED
    assert filled.asked[-1].json == {
        "label": "A2",
        "order": 3,
        "marks": {"housing": "blue"},
        "basis": "observed",
    }


def test_it_shows_the_spans_to_come_and_to_go(vacuary, filled):
    filled.answers["POST", "alerts/12/list"] = (201, LISTED)
    ran = vacuary("list-revision", "12", "A2")
    assert "- LK000001 to LK009999" in ran.out
    assert "+ LK000180 to LK000250" in ran.out
    assert "Another curator confirms it." in ran.out


def test_a_mark_without_a_value_is_not_sent(vacuary, filled):
    ran = vacuary("list-revision", "12", "A2", "--mark", "housing")
    assert ran.code == 2
    assert not filled.asked
