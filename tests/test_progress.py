"""Progress is shown on a terminal and nowhere else."""

import io
import sys

import pytest

from mentorstats.progress import stage, track


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("where", [io.StringIO, Terminal])
def test_stage_and_track_speak_to_terminals_only(monkeypatch, where):
    said = where()
    monkeypatch.setattr(sys, "stderr", said)
    with stage("base model"):
        assert list(track(range(3), "rows")) == [0, 1, 2]
    if where is Terminal:
        assert "base model …" in said.getvalue()
        assert "base model: 0.0 s" in said.getvalue()
        assert "rows: 3" in said.getvalue()
    else:
        assert said.getvalue() == ""


def test_a_stage_that_fails_still_ends_its_line(monkeypatch):
    said = Terminal()
    monkeypatch.setattr(sys, "stderr", said)
    with pytest.raises(ValueError, match="no"), stage("base model"):
        raise ValueError("no")
    assert said.getvalue().endswith("\n")
