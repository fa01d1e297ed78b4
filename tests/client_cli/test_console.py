"""What the consoles write, on a terminal and into a pipe."""

import io

from rich.progress import Progress

from client_cli.errors import Problem, Refused
from client_cli.render import errors
from client_cli.render.cell import show_uncounted
from client_cli.render.console import answers, console_on, remarks, table

LONG = "The vacuum column holds absolute pressures and relative ones in turns. " * 3


def test_what_is_piped_has_no_blanks_before_its_line_ends(capsys):
    answers().print(table("Name", "Said"), "asked: ", end="")
    show_uncounted(answers(), {"held": 30, "held_for": {f"reason {n} of many": n for n in range(20)}})
    refusal = Refused(
        Problem(422, "invalid", "The form cannot be taken " * 9, errors=({"field": "x", "message": LONG},))
    )
    errors.show_error(remarks(), refusal)
    piped = capsys.readouterr()
    assert "asked: \nLeft out" in piped.out.replace("\n\n", "\n")
    for text in (piped.out.replace("asked: ", ""), piped.err):
        assert len(text.splitlines()) > 3
        assert not [line for line in text.splitlines() if line.endswith(" ")]


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_bar_that_moves_is_drawn_as_ever():
    stream = Terminal()
    console = console_on(stream, 60)
    with Progress(console=console, auto_refresh=False) as bar:
        bar.update(bar.add_task("uploading", total=2), advance=1, refresh=True)
        console.print("a remark   ")
    assert "uploading" in stream.getvalue()
    assert "a remark\n" in stream.getvalue()
