import pandas as pd
import pytest

from mentorstats.errors import AnalysisError
from mentorstats.report.columns import counted, group
from mentorstats.report.model import (
    Concern,
    Figure,
    Finding,
    Provenance,
    Report,
    Section,
    Table,
    Verdict,
)

DATA = pd.DataFrame({"site": ["Moss"], "n": [12]})
FROM = Provenance(versions={}, inputs=DATA, seeds={}, rules=())


COLUMNS = (group("site", "Site"), counted("n", "Candidates"))


def table(key="t", columns=COLUMNS, **more):
    return Table(key=key, title="Title", data=DATA, columns=columns, **more)


def figure(twin="t", alt="Words", key="f"):
    return Figure(key=key, title="Title", draw=lambda axes, data: None, alt=alt, table=twin)


def section(**more):
    return Section(key="s", name="this", question="Which?", answer="This.", **more)


def test_a_table_names_a_column_that_is_not_there():
    with pytest.raises(AnalysisError, match="table 't': no column candidates"):
        table(columns=(counted("candidates", "Candidates"),))


def test_a_figure_needs_its_table_with_it():
    with pytest.raises(AnalysisError, match="no table 'other' beside it"):
        section(tables=(table(),), figures=(figure("other"),))


def test_a_figure_needs_a_text_alternative():
    with pytest.raises(AnalysisError, match="no text alternative"):
        section(tables=(table(),), figures=(figure(alt=" "),))


def test_a_page_shows_at_most_one_table_and_one_figure_of_a_section():
    whole = section(tables=(table(), table("u")), figures=(figure(),), main=("t", "f"))
    assert whole.main == ("t", "f")
    with pytest.raises(AnalysisError, match="more than one table"):
        section(tables=(table(), table("u")), main=("t", "u"))
    with pytest.raises(AnalysisError, match="no table or figure other"):
        section(tables=(table(),), main=("other",))


def test_keys_are_used_once_in_a_report():
    twice = (section(tables=(table("s"),)),)
    with pytest.raises(AnalysisError, match="key s is used twice"):
        Report(name="r", title="R", period="", sections=twice, provenance=FROM)


def test_sources_are_cited_once_each_in_order_of_use():
    first = section(references=("gwet_2014",), tables=(table(references=("cohen_1960", "gwet_2014")),))
    report = Report(name="r", title="R", period="", sections=(first,), provenance=FROM)
    assert report.cited() == ["gwet_2014", "cohen_1960"]


def test_a_section_needs_nothing_where_no_finding_asks_for_anything():
    good = Finding(concern=Concern.AGREEMENT, what="Good.", how_sure="Sure.")
    bad = Finding(concern=Concern.AGREEMENT, what="Bad.", how_sure="Sure.", action="Act.")
    assert section(findings=(good,)).needs_nothing
    assert not section(findings=(good, bad)).needs_nothing
    assert not section(needs="a table").needs_nothing
    assert not section(defect="ValueError").needs_nothing


def test_every_verdict_has_a_ring_and_opposites_have_different_ones():
    assert {verdict.ring for verdict in Verdict} == {"filled", "half", "open"}
    assert Verdict.YES.ring != Verdict.NO.ring
    assert Verdict.MET.ring != Verdict.NOT_MET.ring
