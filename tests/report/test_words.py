"""How the pages of the demo and of a small programme read: short sentences, plain words, nouns that fit."""

import re

import any_programme
import pytest
from lxml import html

from mentorstats import cli

PAGE, APPENDIX, FOLLOW_UP = "rater-calibration", "rater-calibration-appendix", "rater-calibration-follow-up"
MEAN, LONGEST = 20, 32  # words of a sentence

# Words that a practitioner found odd, and what stands in their place is common in the trade.
ODD = (
    *("talk with", "to talk about", "middling", "alike", "blind rater", "as if at random?", "singly"),
    *("told apart", "closes the ring", "error taken out", "drawn to the middle", "no call made", "the key "),
    *("noisily", "stands in", "mend ", "chance would mark", "left out here", "hold it together"),
)
NOUNS = "rater mentor supervisor candidate lesson rating visit flag chart group".split()  # noqa: SIM905
ONE_MANY = re.compile(rf"(?<![\d.,/])\b1 (criteria|{'|'.join(f'{noun}s' for noun in NOUNS)})\b")
MANY_ONE = re.compile(rf"\b(?:[2-9]|\d{{2,}}) (criterion|{'|'.join(NOUNS)})\b(?! )")
SAME = re.compile(r"\bfrom ([\d.−+]+(?: %)?) to \1(?=[\s.,;])")
NONE_OF_ONE = re.compile(r"\bnone of (?:the )?1\b")
NOUGHT = re.compile(r"\b0 of \d")


@pytest.fixture(scope="module")
def small_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small") / "programme"
    folder.mkdir()
    any_programme.write_small(folder)
    assert cli.main(["report", "rater-calibration", str(folder), "--date", "2026-09-01"]) == 0
    return folder


@pytest.fixture(scope="module", params=["demo", "small"])
def reports(request):
    folder = request.getfixturevalue("demo_folder" if request.param == "demo" else "small_folder")
    return folder / "reports"


def paragraphs(path):
    """Everything that is said in sentences, without tables' cells and pictures."""
    root = html.parse(str(path)).getroot()
    for away in root.xpath("//style | //svg | //thead | //tbody | //ul[@class='sources'] | //nav"):
        away.drop_tree()
    found = [" ".join(item.text_content().split()) for item in root.xpath("//body//p | //body//li")]
    return [text for text in found if text]


def sentences(text):
    parts = re.split(r"(?<=[.?!])\s+(?=[A-Z“(+−\d])", text)
    return [part for part in parts if part]


def words(sentence):
    return len(re.findall(r"[^\W\d_][\w'’-]*", sentence))


def generated(path):
    """Answers, findings and the other sentences of the page; lists of sections are no sentences."""
    return [
        sentence
        for text in paragraphs(path)
        if not text.startswith(("Looked at,", "Also found", "For monitoring", "For use inside"))
        for sentence in sentences(text)
    ]


def test_sentences_of_the_page_are_short(reports):
    said = [s for name in (PAGE, FOLLOW_UP) for s in generated(reports / f"{name}.html")]
    lengths = [words(sentence) for sentence in said]
    assert len(said) > 50
    assert [s for s, n in zip(said, lengths, strict=True) if n > LONGEST] == []
    assert sum(lengths) / len(lengths) <= MEAN


@pytest.mark.parametrize("name", [PAGE, APPENDIX, FOLLOW_UP])
def test_numbers_have_their_nouns(reports, name):
    said = paragraphs(reports / f"{name}.html")
    for pattern in (
        ONE_MANY,
        MANY_ONE,
        SAME,
        re.compile(r"\bnone of (?:the )?1\b"),
        re.compile(r"\b0 of \d"),
    ):
        assert [text for text in said if pattern.search(text)] == [], pattern.pattern


@pytest.mark.parametrize("name", [PAGE, APPENDIX, FOLLOW_UP])
def test_words_are_those_of_the_trade(reports, name):
    said = paragraphs(reports / f"{name}.html")
    for odd in ODD:
        assert [text for text in said if odd in text.lower()] == [], odd


def test_codes_and_versions_are_spelt_as_the_records_have_them(small_folder):
    said = " ".join(paragraphs(small_folder / "reports" / f"{PAGE}.html"))
    assert "version A" in said
    assert "version a" not in said
    assert not re.search(r"(?:^|[.?!] )Hearthside", said)
    for code in ("k7w2", "m3d9", "t5b1", "r8x4"):
        assert code.capitalize() not in said


def test_a_page_is_short(reports):
    text = " ".join(html.parse(str(reports / f"{PAGE}.html")).getroot().find("body").text_content().split())
    assert len(text.split()) <= 4_000
