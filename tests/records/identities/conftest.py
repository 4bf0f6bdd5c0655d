"""A programme whose exports name people, and a folder for the list of codes."""

import pytest

# Accents, an apostrophe, right to left, and what a spreadsheet would run.
NAMES = {
    "C1": "Zoë Ngũgĩ-Quill",
    "007": "O'Moss, Fern",
    "M1": "نورا الهلال",
    "M2": "=Linnet Reed",
    "S1": "Bramble Ashdown",
}
BLOCK = '[identities]\nfolder = "../private"\n'


@pytest.fixture
def named(programme):
    """Return the programme with names in place of codes, in every table."""
    for rows in programme.tables.values():
        for row in rows[1:]:
            row[:] = [NAMES.get(cell, cell) for cell in row]
    return programme


@pytest.fixture
def private(programme):
    return programme.folder.parent / "private"
