"""As root the server runs as another user, which is let through to its files and to nothing else."""

import os
import pwd
import shutil
import stat
from pathlib import Path

import pytest

from registry.config.embedded import EmbeddedDatabaseError, account
from registry.config.embedded.account import Account, allow_passing, allow_reading, server_account

# Neither the owner nor the group of anything below: the class "others" applies to it.
STRANGER = Account("stranger", uid=os.geteuid() + 4321, gid=os.getegid() + 4321)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_passing_adds_the_passing_bit_alone_and_only_where_it_is_missing(tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    opened = closed / "open"
    opened.mkdir(parents=True)
    closed.chmod(0o700)
    opened.chmod(0o755)
    above = {folder: mode(folder) for folder in closed.parents}
    allow_passing(opened, STRANGER)
    assert (mode(closed), mode(opened)) == (0o701, 0o755)
    assert all(mode(folder) | 0o001 == before | 0o001 for folder, before in above.items())


def test_the_class_of_the_user_decides_which_bit_it_needs(tmp_path: Path) -> None:
    tmp_path.chmod(0o600)
    allow_passing(tmp_path, Account("owner", os.geteuid(), STRANGER.gid))
    assert mode(tmp_path) == 0o700
    allow_passing(tmp_path, Account("member", STRANGER.uid, tmp_path.stat().st_gid))
    assert mode(tmp_path) == 0o710


def test_a_wheel_installed_under_a_strict_umask_becomes_readable(tmp_path: Path) -> None:
    program, text = tmp_path / "bin" / "postgres", tmp_path / "share" / "errcodes.txt"
    for path, bits in ((program, 0o700), (text, 0o600)):
        path.parent.mkdir(mode=0o700)
        path.write_text("")
        path.chmod(bits)
    allow_reading(tmp_path, STRANGER)
    assert (mode(program), mode(text), mode(program.parent)) == (0o705, 0o604, 0o705)


def test_an_ordinary_user_runs_the_server_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ordinary = pwd.getpwnam("nobody")
    monkeypatch.setattr(os, "geteuid", lambda: ordinary.pw_uid)
    chosen = server_account(tmp_path, tmp_path / "data")
    assert chosen.name == "nobody"
    assert chosen.subprocess_options() == {}


def test_root_runs_it_as_the_owner_of_the_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = tmp_path / "data"
    data.mkdir()
    owner = data.stat().st_uid
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    chosen = server_account(tmp_path, data)
    # Data of root's own, which a copied folder may be, is no reason to run it as root.
    assert chosen.uid != 0
    assert chosen.uid == (owner or pwd.getpwnam(account.SYSTEM_USER).pw_uid)


def test_a_user_without_a_name_is_told_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 2_000_000_011)
    with pytest.raises(EmbeddedDatabaseError, match="set DATABASE_URL"):
        server_account(tmp_path, tmp_path / "data")


def test_a_system_user_that_cannot_be_made_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(account, "SYSTEM_USER", "no such user")
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    with pytest.raises(EmbeddedDatabaseError, match="its own user 'no such user' cannot be made"):
        account._system_user()
