"""The dialogue of `identify`: one question at a time on a terminal, each the one that would tell most."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import typer

from client_cli.commands.common import Call
from client_cli.errors import Refused
from client_cli.exits import ExitCode
from client_cli.render.console import remarks
from client_cli.render.identified import odds, show_identified
from client_cli.session import Session
from client_cli.text import clean
from client_cli.upload import read_trace

Json = dict[str, Any]
_PASS = frozenset({"", "?", "-", "don't know", "dont know", "unknown", "no idea"})
_END = frozenset({"q", "quit", "end", "stop"})
# More than anybody answers; a server that asks on and on is stopped.
_MOST_QUESTIONS = 30
_SAYS_NOTHING = "says nothing"


class _Ended(Exception):
    """The person wants no more questions."""


@dataclass
class Pump:
    """What is known of the pump in hand so far; `skip` is what the person cannot say."""

    model: str
    said: dict[str, str | None] = field(default_factory=dict)
    marks: list[str] = field(default_factory=list)
    traces: list[tuple[Path, Json]] = field(default_factory=list)
    skip: list[str] = field(default_factory=list)

    @property
    def is_blank(self) -> bool:
        """Whether nothing is known yet."""
        return not (self.marks or self.traces or any(self.said.values()))

    def ask(self, session: Session) -> Json:
        """The server's identification. Raises Refused for a file that cannot be read."""
        question: Json = {"model": self.model, **{key: text for key, text in self.said.items() if text}}
        lists = {"marks": self.marks, "skip": self.skip, "traces": [said for _, said in self.traces]}
        question |= {key: values for key, values in lists.items() if values}
        files = [(file.name, read_trace(file)) for file, _ in self.traces]
        return session.post_traces("identifications", question, files).document


def is_terminal() -> bool:
    """Whether a person sits there to answer."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def tell(call: Call, document: Json) -> ExitCode:
    """Print the answer; some of the input counted for nothing where a trace is held."""
    call.answer(document, show_identified)
    held = any(piece.get("state") == "held" for piece in document.get("evidence") or [])
    return ExitCode.REFUSED if held else ExitCode.DONE


def converse(call: Call, session: Session, pump: Pump) -> ExitCode:
    """Ask until it is clear, nothing is worth asking, or the person ends it; then print the answer."""
    call.remark("Enter passes a question over, q ends.")
    document = pump.ask(session)
    try:
        for _ in range(_MOST_QUESTIONS):
            question = document.get("next")
            if not question:
                break
            document = _answered(call, session, pump, question, document)
    except _Ended:
        pass
    if pump.skip:  # what was passed over may still be the best to come back to
        pump.skip = []
        document = pump.ask(session)
    return tell(call, document)


def _answered(call: Call, session: Session, pump: Pump, question: Mapping[str, Any], before: Json) -> Json:
    """Put one question and ask the server again with what was said. Raises _Ended."""
    kind = str(question.get("kind"))
    put = {"mark": _mark, "setting": _setting}.get(kind, _said)
    if not put(pump, question):
        pump.skip.append(str(question.get("key") or kind))
    try:
        document = pump.ask(session)
    except Refused as error:
        if kind != "setting" or not pump.traces:
            raise
        file, _ = pump.traces.pop()
        call.report(error, about=str(file))
        return before
    _show_what_it_says(call, pump, before, document)
    return document


def _mark(pump: Pump, question: Mapping[str, Any]) -> bool:
    text = _prompt(question)
    if text:
        pump.marks.append(f"{question['key']}={text}")
    return bool(text)


def _said(pump: Pump, question: Mapping[str, Any]) -> bool:
    text = _prompt(question)
    if text:
        pump.said[str(question["kind"])] = text
    return bool(text)


def _setting(pump: Pump, question: Mapping[str, Any]) -> bool:
    name = _prompt(question, " Its file")
    if not name:
        return False
    said = {key: question.get(key) for key in ("mode", "programme", "level", "power")}
    gauge = _read("Code of your gauge: ")
    pump.traces.append((Path(name).expanduser(), {k: v for k, v in {**said, "gauge": gauge}.items() if v}))
    return True


def _show_what_it_says(call: Call, pump: Pump, before: Json, document: Json) -> None:
    """What the newest piece of evidence means, and how likely each revision is now.

    A mark or a serial that was not understood is forgotten, so that it is asked again.
    """
    old, evidence = before.get("evidence") or [], document.get("evidence") or []
    new = [piece for piece in evidence if piece not in old]
    for piece in new[:1] if len(evidence) > len(old) else []:
        call.remark(f"  {clean(piece.get('says')).rstrip('.')}: {clean(piece.get('weight'))}.")
        if _forgotten(pump, piece):
            document["next"] = before.get("next")
            document["evidence"] = [one for one in evidence if one is not piece]
    call.remark(f"  Now: {odds(document)}.")


def _forgotten(pump: Pump, piece: Mapping[str, Any]) -> bool:
    """Take back what was said where it was not understood, and tell whether that was so."""
    if piece.get("weight") != _SAYS_NOTHING:
        return False
    if piece.get("kind") == "mark" and pump.marks:
        pump.marks.pop()
        return True
    if piece.get("kind") == "serial" and "value" in piece and piece["value"] is None:
        return pump.said.pop("serial", None) is not None
    return False


def _prompt(question: Mapping[str, Any], more: str = "") -> str:
    return _read(f"{clean(question.get('ask'))}{more} ")


def _read(prompt: str) -> str:
    """What was typed, empty for a question passed over. Raises _Ended at the end of input or on q."""
    remarks().print(clean(prompt), end=" ")
    line = sys.stdin.readline()
    text = line.strip()
    if not line or text.casefold() in _END:
        typer.echo(err=True)
        raise _Ended
    return "" if text.casefold() in _PASS else text
