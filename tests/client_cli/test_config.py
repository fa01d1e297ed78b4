"""Options, environment and the configuration file."""

import stat
import sys

import pytest

from client_cli import config
from client_cli.config import Target
from client_cli.errors import WrongUse

FILE = 'server = "https://one.example"\ntoken = "stored"\n'


@pytest.fixture
def path(home):
    return config.config_path()


def write(path, text):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def test_the_file_lies_in_the_user_s_own_configuration_folder(home, path):
    assert path.is_relative_to(home)
    assert path.name == "config.toml"


def test_without_anything_the_server_is_this_computer(path):
    assert config.resolve(None, None, path) == Target("http://127.0.0.1:8000", None)


def test_what_is_saved_is_read_back_and_private(path):
    config.save(Target("https://one.example", "stored"), path)
    assert config.load(path) == Target("https://one.example", "stored")
    if sys.platform != "win32":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert [entry.name for entry in path.parent.iterdir()] == ["config.toml"]


def test_options_go_before_the_file(path):
    write(path, FILE)
    assert config.resolve(None, None, path) == Target("https://one.example", "stored")
    assert config.resolve(None, "given", path) == Target("https://one.example", "given")
    assert config.resolve("https://one.example/", None, path) == Target("https://one.example", "stored")


def test_a_stored_token_is_never_shown_to_another_server(path):
    write(path, FILE)
    assert config.resolve("https://two.example", None, path) == Target("https://two.example", None)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("server = \n", "line 1"),
        ('servre = "https://one.example"', "servre"),
        ("server = 7", "texts in quotes"),
        ('server = "one.example"', "not the address"),
        ('server = "https://one.example"\ntoken = "two words"', "characters"),
    ],
)
def test_a_bad_file_is_named_with_what_is_wrong(path, text, why):
    write(path, text)
    with pytest.raises(WrongUse) as raised:
        config.resolve(None, None, path)
    assert str(path) in raised.value.message
    assert why in raised.value.message


def test_a_bad_file_is_in_nobody_s_way_when_both_are_given(path):
    write(path, "nonsense")
    assert config.resolve("https://two.example", "given", path) == Target("https://two.example", "given")


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("http://127.0.0.1:8000/", "http://127.0.0.1:8000"),
        ("https://one.example/api/v1/", "https://one.example"),
        (" https://one.example/vacuary ", "https://one.example/vacuary"),
    ],
)
def test_an_address_in_its_plain_form(text, plain):
    assert config.address(text) == plain


@pytest.mark.parametrize(
    "text", ["", "one.example", "ftp://one.example", "https://", "https://u:p@one.example", "http://[::1"]
)
def test_what_is_no_address_is_refused(text):
    with pytest.raises(WrongUse):
        config.address(text)


def test_a_token_in_the_clear_is_noticed_beyond_this_computer_only():
    assert config.is_in_the_clear("http://one.example")
    assert not config.is_in_the_clear("https://one.example")
    assert not config.is_in_the_clear("http://127.0.0.1:8000")


def test_a_file_that_others_can_read_is_noticed(path):
    config.save(Target("https://one.example", "stored"), path)
    assert not config.readable_by_others(path)
    path.chmod(0o644)
    assert config.readable_by_others(path) == (sys.platform != "win32")
