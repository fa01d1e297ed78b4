"""Trace files: whole or absent, kept once, and in folders that others cannot look into."""

import os

import pytest
from django.core.files.base import ContentFile

from registry.config.storage import DurableFileStorage

NAME = "ab/cd/abcd"


@pytest.fixture
def storage(tmp_path):
    old = os.umask(0o022)
    yield DurableFileStorage(location=tmp_path / "home" / "traces")
    os.umask(old)


def test_what_is_saved_is_read_back(storage):
    assert storage.save(NAME, ContentFile(b"0,1\n")) == NAME
    with storage.open(NAME) as file:
        assert file.read() == b"0,1\n"
    assert os.listdir(os.path.dirname(storage.path(NAME))) == ["abcd"]


def test_a_name_that_is_there_is_kept(storage):
    storage.save(NAME, ContentFile(b"first"))
    assert storage.save(NAME, ContentFile(b"second")) == NAME
    with storage.open(NAME) as file:
        assert file.read() == b"first"


def test_every_folder_that_is_made_is_for_the_server_alone(storage, tmp_path):
    storage.save(NAME, ContentFile(b"0,1\n"))
    made = [tmp_path / "home" / part for part in ("", "traces", "traces/ab", "traces/ab/cd")]
    assert {folder.stat().st_mode & 0o777 for folder in made} == {0o700}


def test_every_new_name_is_made_durable_in_its_folder(storage, tmp_path, monkeypatch):
    synced = []
    monkeypatch.setattr(storage, "_sync_folder", synced.append)
    storage.save(NAME, ContentFile(b"0,1\n"))
    top = tmp_path / "home" / "traces"
    assert synced == [tmp_path, tmp_path / "home", top, top / "ab", top / "ab" / "cd"]
    synced.clear()
    storage.save("ab/cd/other", ContentFile(b"0,1\n"))
    assert synced == [top / "ab" / "cd"]


def test_a_write_that_fails_leaves_nothing_behind(storage, monkeypatch):
    def full(handle):
        raise OSError("no space left")

    monkeypatch.setattr(os, "fsync", full)
    storage._make_folder = lambda folder: folder.mkdir(parents=True, exist_ok=True)
    with pytest.raises(OSError, match="no space"):
        storage.save(NAME, ContentFile(b"0,1\n"))
    assert os.listdir(os.path.dirname(storage.path(NAME))) == []
