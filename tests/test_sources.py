"""The bibliography is complete, legal and can be handed on."""

import re
import tomllib

import numpy as np
import pandas as pd
import pytest

import mentorstats as ms
from mentorstats import places, sources
from mentorstats.errors import ArgumentError, DictionaryError
from mentorstats.sources import SOURCES, Source

NEEDED = {  # what BibTeX itself asks of an entry
    "article": {"author", "title", "journal", "year"},
    "book": {"author", "title", "publisher", "year"},
    "incollection": {"author", "title", "booktitle", "year"},
    "techreport": {"author", "title", "institution", "year"},
    "misc": {"author", "title"},
}


def entries(text: str) -> dict[str, dict[str, str]]:
    """BibTeX by its grammar: an entry, its key, then names with values in balanced braces, commas between."""
    found, at = {}, 0
    while at < len(text):
        head = re.compile(r"\s*@([a-z]+)\{([A-Za-z0-9_]+),").match(text, at)
        assert head, text[at : at + 60]
        told, at = {"entry": head[1]}, head.end()
        while text[at] != "}":
            name = re.compile(r"\s*([a-z]+) = \{").match(text, at)
            assert name, text[at : at + 60]
            assert name[1] not in told
            start = at = name.end()
            depth = 1
            while depth:
                depth += {"{": 1, "}": -1}.get(text[at], 0)
                at += 1
            told[name[1]] = text[start : at - 1]
            at = re.compile(r",?\s*").match(text, at).end()
        assert head[2] not in found, "one key twice"
        found[head[2]] = told
        at += 1
    return found


def test_every_source_is_legal_bibtex():
    text = ms.cite(list(SOURCES), form="bibtex")
    found = entries(text)
    assert set(found) == set(SOURCES)
    for key, told in found.items():
        assert NEEDED[told["entry"]] <= set(told), key
        assert not any(re.search(r"(?<!\\)[&%$#]", value) for value in told.values()), key
        if told["entry"] == "article" and SOURCES[key].checked:
            assert {"volume"} <= set(told), key


@pytest.mark.parametrize("broken", ["@article{a,\n  title = {x}", "@article{a, title = x}", "article{a,}"])
def test_the_check_of_bibtex_refuses_what_is_none(broken):
    with pytest.raises((AssertionError, IndexError)):
        entries(broken)


def test_details_are_plausible():
    for key, one in SOURCES.items():
        assert re.fullmatch(r"10\.\d{4,5}/\S+", one.doi) or not one.doi, key
        year = re.search(r"_(\d{4})", key)
        assert not year or int(year[1]) == one.year, key
        ends = re.fullmatch(r"e?(\d+)–e?(\d+)", one.pages)
        assert not ends or int(ends[1]) < int(ends[2]), key
    dois = [one.doi for one in SOURCES.values() if one.doi]
    assert len(dois) == len(set(dois))


def test_every_source_is_used():
    """A key nobody cites has no place in the bibliography."""
    root = places.data_dictionary().parent
    files = [path for name in ("mentorstats", "tests", "analyses") for path in (root / name).rglob("*.py")]
    files += [path for path in places.data_dictionary().rglob("*.toml") if path.name != "sources.toml"]
    files += (root / "tests").rglob("*.json")
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    words = set(re.findall(r"[a-z0-9_]+", text))
    assert set(SOURCES) <= words, sorted(set(SOURCES) - words)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"kind": "leaflet"}, "no kind 'leaflet'"),
        ({"colour": "red"}, "colour"),
        ({"title": None}, "missing key title"),
        ({"title": ""}, "cannot be title"),
        ({"year": "1960"}, "cannot be year"),
        ({"authors": []}, "cannot be authors"),
        ({"authors": [3]}, "cannot be authors"),
    ],
)
def test_an_entry_that_is_none_is_refused(tmp_path, change, told):
    good = {"kind": "article", "authors": ["A, B."], "year": 1960, "title": "T", "container": "J"}
    block = {name: value for name, value in (good | change).items() if value is not None}
    lines = [
        f"{name} = {str(value) if isinstance(value, int) else repr(value)}" for name, value in block.items()
    ]
    path = tmp_path / "sources.toml"
    path.write_text("[a]\n" + "\n".join(lines), encoding="utf-8")
    with pytest.raises(DictionaryError, match=told):
        sources.read(path)


def test_a_file_that_is_no_toml_is_refused(tmp_path):
    path = tmp_path / "sources.toml"
    path.write_text("[a", encoding="utf-8")
    with pytest.raises(DictionaryError, match="not legal TOML"):
        sources.read(path)


def test_the_file_says_what_was_checked():
    listed = tomllib.loads((places.data_dictionary() / "sources.toml").read_text(encoding="utf-8"))
    checked = {key for key, block in listed.items() if "checked" in block}
    assert checked == {key for key, one in SOURCES.items() if one.checked}
    assert not any("http" in one.checked for one in SOURCES.values())


def test_one_line_holds_all_details():
    one = Source(
        key="a_1960", kind="article", authors=("A, B.", "C, D."), year=1960, title="T", container="J",
        volume="3", issue="2", pages="1–9", doi="10.1000/x",
    )  # fmt: skip
    assert one.full == "A, B., C, D. (1960). T. J 3(2), 1–9. doi:10.1000/x."
    assert one.short == "A & C (1960)"


# What results rest on ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def scores():
    rng = np.random.default_rng(4)
    person, rater = (each.ravel() for each in np.meshgrid(range(12), range(3)))
    score = rng.normal(size=12)[person] + rng.normal(size=3)[rater] + rng.normal(size=36)
    return pd.DataFrame({"person": person, "rater": rater, "score": score})


def test_a_table_names_its_sources(scores):
    table = ms.agreement.icc(scores, unit="person", rater="rater", level="score")
    found = sources.keys(table)
    assert found == list(dict.fromkeys(table["reference"]))
    text = ms.cite(table)
    assert all(SOURCES[key].full in text for key in found)
    assert ms.__version__ in text
    assert text.splitlines() == sorted(text.splitlines())


def test_a_fit_names_how_it_was_fitted(scores):
    fit = ms.mixed.fit(scores, response="score", grouped="person", degrees="kenward_roger")
    assert sources.keys(fit) == list(fit.references)
    assert "kenward_roger_1997" in fit.references
    assert "satterthwaite_1946" not in fit.references
    assert set(entries(ms.cite(fit, form="bibtex"))) == {*fit.references, "mentorstats"}


def test_a_study_names_what_its_limits_rest_on(scores):
    by_squares = ms.reliability.g_study(scores, object="person", facets="rater", score="score")
    assert {"brennan_2001", "ting_1990"} <= set(sources.keys(by_squares))
    assert "gilmour_1995" not in sources.keys(by_squares)


def test_several_results_are_cited_once(scores):
    table = ms.agreement.icc(scores, unit="person", rater="rater", level="score")
    both = ms.cite({"one": table, "two": [table, "cohen_1960"]})
    assert both.count(SOURCES["cohen_1960"].full) == 1
    assert len(both.splitlines()) == len(set(table["reference"])) + 2


def test_nothing_asked_is_the_package_alone():
    assert list(entries(ms.cite(form="bibtex"))) == ["mentorstats"]


def test_a_form_or_a_key_that_is_none_is_refused():
    with pytest.raises(ArgumentError, match="no form 'html'"):
        ms.cite(form="html")
    with pytest.raises(ArgumentError, match="no source 'nobody_1900'"):
        ms.cite("nobody_1900")
