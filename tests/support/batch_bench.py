"""A bench on which batches are spoken of by command line, as people do, with days that are past for any clock."""

import json
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.rules.records import Record

CONFIG = BASE.replace("2026-", "2020-")


class BatchBench:
    """A configuration in a folder, what is said there, and what its store holds."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder, self._capsys = folder, capsys
        (folder / "config.yaml").write_text(CONFIG, encoding="utf-8")

    def say(self, *words: str, command: str = "batch") -> tuple[int, str, str]:
        """Return the status of an act, what it printed and what it complained of."""
        try:
            status = main([command, *words, "--config", str(self.folder / "config.yaml")])
        except SystemExit as wrong_usage:
            status = int(wrong_usage.code or 0)
        return (status, *self._capsys.readouterr())

    def said(self, *words: str) -> dict[str, Any]:
        """Return what an act that must succeed printed for programs."""
        status, out, err = self.say(*words, "--json")
        assert (status, err) == (0, "")
        told: dict[str, Any] = json.loads(out)
        return told

    def kept(self) -> list[Record]:
        """Return all records there are."""
        if not (self.folder / "wardian.db").exists():
            return []
        store = open_store(f"sqlite:///{self.folder / 'wardian.db'}", self.folder, read_only=True)
        records = store.records()
        store.close()
        return records
