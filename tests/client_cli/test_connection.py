"""Which server, as whom: connect, and the options that go before what it remembered."""

import pytest

from tests.client_cli.server import TOKEN


class TestConnect:
    """Remembering a server."""

    @pytest.fixture(autouse=True)
    def no_environment(self, vacuary, monkeypatch):
        for name in ("VACUARY_SERVER", "VACUARY_TOKEN"):
            monkeypatch.delenv(name)

    def test_the_token_comes_from_standard_input_and_is_used_afterwards(self, vacuary, server, registry):
        ran = vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        assert ran.code == 0
        assert TOKEN not in ran.out + ran.err
        registry.asked.clear()
        assert vacuary("runs").code == 0
        assert registry.asked[0].headers["authorization"] == f"Token {TOKEN}"

    def test_a_token_that_the_server_does_not_know_is_not_kept(self, vacuary, server, home):
        assert vacuary("connect", server.url, stdin="wrong\n").code == 4
        assert not list(home.rglob("config.toml"))

    def test_a_server_that_is_not_there_is_not_kept(self, vacuary, home):
        assert vacuary("--patience", "0", "connect", "http://127.0.0.1:9", stdin="x\n").code == 5
        assert not list(home.rglob("config.toml"))

    def test_without_a_token_questions_can_still_be_asked(self, vacuary, server, registry):
        ran = vacuary("connect", server.url, "--json", stdin="")
        assert ran.json["token"] is False
        vacuary("runs")
        assert "authorization" not in registry.asked[-1].headers

    def test_the_prompt_does_not_show_the_token(self, vacuary, server, monkeypatch):
        asked = []
        monkeypatch.setattr("client_cli.commands.connection._is_terminal", lambda: True)
        monkeypatch.setattr("getpass.getpass", lambda prompt: asked.append(prompt) or TOKEN)
        assert vacuary("connect", server.url).code == 0
        assert "Token" in asked[0]

    def test_a_bad_configuration_is_named_and_connect_mends_it(self, vacuary, server, home):
        vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        (path,) = home.rglob("config.toml")
        path.write_text("nonsense")
        ran = vacuary("runs")
        assert ran.code == 2
        assert str(path) in ran.err.replace("\n", "")
        assert vacuary("connect", server.url, stdin=f"{TOKEN}\n").code == 0
        assert vacuary("runs").code == 0

    def test_a_token_that_others_can_read_is_pointed_out(self, vacuary, server, home):
        vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        (path,) = home.rglob("config.toml")
        path.chmod(0o644)
        ran = vacuary("runs")
        assert ran.code == 0
        assert "chmod 600" in ran.err


def test_options_go_before_the_environment_wherever_they_stand(vacuary, registry, server, monkeypatch):
    monkeypatch.setenv("VACUARY_SERVER", "http://127.0.0.1:9")
    monkeypatch.setenv("VACUARY_TOKEN", "another")
    for arguments in (
        ["--server", server.url, "--token", TOKEN, "runs"],
        ["runs", "--server", server.url, "--token", TOKEN],
        ["--server", "http://127.0.0.1:9", "runs", "--server", server.url, "--token", TOKEN],
    ):
        assert vacuary(*arguments).code == 0
    assert {asked.headers["authorization"] for asked in registry.asked} == {f"Token {TOKEN}"}
