import io
import re
from dataclasses import replace
from itertools import pairwise

import pandas as pd
import pytest
from lxml import etree

from mentorstats.caution import CAUTION
from mentorstats.report import run
from mentorstats.report.blocks import INSIDE
from mentorstats.report.columns import Kind

VOID = ("area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr")


def parse(html):
    """Parse as XML, which allows no slip: void elements closed, everything else balanced."""
    closed = re.sub(rf"<({'|'.join(VOID)})\b([^>]*?)/?>", r"<\1\2/>", html.split("<!doctype html>")[1])
    closed = re.sub(r"<style>.*?</style>", "<style></style>", closed, flags=re.DOTALL)
    return etree.parse(io.StringIO(closed)).getroot()


@pytest.fixture(scope="module", params=["", "-appendix", "-follow-up"])
def document(request, pages):
    return pages[request.param]


@pytest.fixture(scope="module")
def tree(document):
    return parse(document)


def local(element):
    return etree.QName(element).localname


def test_the_page_is_balanced_and_every_id_is_used_once(tree):
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    assert tree.get("lang") == "en-GB"


def test_every_link_inside_the_page_leads_somewhere(tree):
    ids = set(tree.xpath("//@id"))
    targets = [href[1:] for href in tree.xpath("//@href") if href.startswith("#")]
    targets += [value[1:] for value in tree.xpath("//@*[name()='xlink:href']")]
    targets += [name for names in tree.xpath("//@aria-labelledby") for name in names.split()]
    assert targets
    assert set(targets) <= ids


def test_nothing_is_fetched_from_elsewhere_and_no_script_runs(document, tree):
    assert not tree.xpath("//script | //link | //img | //iframe | //object")
    elsewhere = [href for href in tree.xpath("//@href | //@src") if not href.startswith("#")]
    assert all(re.fullmatch(r"rater-calibration[a-z-]*\.html#[\w-]+", href) for href in elsewhere)
    assert "url(" not in re.search(r"<style>(.*?)</style>", document, re.DOTALL).group(1)


def test_headings_go_down_one_step_at_a_time(tree):
    levels = [int(local(heading)[1]) for heading in tree.xpath("//h1 | //h2 | //h3 | //h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_there_are_landmarks_and_a_way_past_the_summary(tree):
    for landmark in ("header", "main", "footer"):
        assert len(tree.xpath(f"//{landmark}")) == 1, landmark
    assert tree.xpath("//body/a[1]/@href") == ["#content"]
    assert tree.xpath("//main/@id") == ["content"]


def test_every_table_has_a_name_and_scopes(tree):
    tables = tree.xpath("//table")
    assert tables or "Follow-up" in tree.xpath("string(//h1)")
    for table in tables:
        assert tree.xpath(f"string(//*[@id='{table.get('aria-labelledby')}'])").strip()
        assert all(scope == "col" for scope in table.xpath("thead//th/@scope"))
        assert len(table.xpath("thead//th")) == len(table.xpath("thead//th/@scope"))
        width = len(table.xpath("thead//th"))
        rows = table.xpath("tbody/tr[not(td[@colspan])]")
        assert all(row.xpath("th[@scope='row']") for row in rows)
        assert {len(row) for row in rows} <= {width}
        assert rows or table.xpath("string(tbody)").strip() == "No rows."


def test_every_figure_has_words_and_a_table_with_the_same_numbers(tree):
    for figure in tree.xpath("//figure"):
        drawing = figure.xpath(".//*[local-name()='svg']")[0]
        assert drawing.get("role") == "img"
        words = [
            drawing.getroottree().xpath(f"string(//*[@id='{name}'])")
            for name in drawing.get("aria-labelledby").split()
        ]
        assert all(word.strip() for word in words)
        assert figure.xpath(".//p[@class='twin']/a/@href")


def test_what_scrolls_can_be_reached_by_keyboard(tree):
    for region in tree.xpath("//*[contains(concat(' ', @class, ' '), ' wide ')]"):
        assert region.get("tabindex") == "0"
        assert region.get("role") == "region"
        assert region.get("aria-labelledby")


def test_the_page_says_that_it_stays_inside_the_programme(tree):
    text = " ".join(tree.xpath("//header//text() | //footer//text()"))
    assert text.count(INSIDE.rstrip(".")) == 2
    assert text.count(CAUTION) == 2


def test_every_number_has_its_n_beside_it(made):
    for section in made.sections:
        for table in section.tables:
            told = table.of(Kind.COUNT) or re.match(r"From [0-9,]+ scores", table.note)
            own = table.key in ("visit-plans-near", "key-scores-rules")
            assert not table.of(Kind.STATISTIC) or told or own, table.key


def test_no_value_is_printed_as_nan_or_none(document):
    text = re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", " ", document, flags=re.DOTALL))
    assert not re.search(r"\b(nan|NaN|None|NaT|<NA>|inf)\b", text)


def test_the_same_report_gives_the_same_bytes(pages, make_records, shipped, rendered):
    again = run.find("rater-calibration")(make_records(), shipped, seed=0)
    assert rendered(again) == "".join(pages.values())


HOSTILE = '<script>alert("x")</script>&'


def test_labels_from_the_records_cannot_become_markup(make_long, make_records, shipped, rendered):
    table = make_long()
    for column in ("site", "cohort", "criterion", "rubric"):
        first = table[column] == table[column].iloc[20]
        table.loc[first, column] = HOSTILE
    records = make_records(table)
    spoiled = records.rubrics.replace({"rubric": {"hearthside": HOSTILE}})
    spoiled["label"] = spoiled["label"] + HOSTILE
    records.rubrics = spoiled
    records.problems.loc[0, "rule"] = HOSTILE
    records.sources["file"] = HOSTILE
    html = rendered(run.find("rater-calibration")(records, shipped))
    assert "<script" not in html
    assert html.count("&lt;script&gt;") > 8
    for document in html.split("<!doctype html>")[1:]:
        parse(f"<!doctype html>{document}")


def test_a_rule_without_published_source_says_so(pages):
    assert "common practice, no source" in pages["-appendix"]


def test_the_appendix_prints_versions_checksums_and_rules(made, pages):
    html = pages["-appendix"]
    assert made.provenance.inputs["sha256"].iloc[0][:12] in html
    assert made.provenance.inputs["sha256"].iloc[0][:13] not in html
    assert "minimum_group_size" in html
    for name, version in made.provenance.versions.items():
        assert f"{name} {version}" in html


def contrast(one, other):
    def luminance(colour):
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(("scheme", "paper"), [(0, "#ffffff"), (1, "#14181e")], ids=["light", "dark"])
def test_the_inks_of_the_page_stand_out_from_its_paper(html, scheme, paper):
    roots = re.findall(r":root \{(.*?)\}", html)
    inks = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", roots[scheme]))
    for ink in ("ink", "quiet", "accent"):
        assert contrast(inks[ink], paper) >= 4.5  # WCAG 2.2, 1.4.3
        assert contrast(inks[ink], inks["aim"]) >= 4.5


def test_a_report_without_rows_still_has_whole_tables(made, rendered):
    section = made.sections[0]
    empty = replace(section.tables[0], data=section.tables[0].data.iloc[:0])
    report = replace(made, sections=(replace(section, tables=(empty,)),))
    assert "No rows." in rendered(report)
    assert isinstance(empty.data, pd.DataFrame)
