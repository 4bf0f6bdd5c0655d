import pandas as pd
import pytest

from mentorstats.errors import AnalysisError
from mentorstats.report.model import Figure, Provenance, Report, Section, Table, Verdict

DATA = pd.DataFrame({"site": ["Moss"], "n": [12]})
FROM = Provenance(versions={}, inputs=DATA, seeds={}, rules=())


def table(key="t", **more):
    return Table(key=key, title="Title", data=DATA, labels={"site": "Site", "n": "Candidates"}, **more)


def figure(twin="t", alt="Words"):
    return Figure(key="f", title="Title", draw=lambda axes: None, alt=alt, table=twin)


def section(**more):
    return Section(key="s", question="Which?", answer="This.", **more)


def test_a_table_names_a_column_that_is_not_there():
    with pytest.raises(AnalysisError, match="table 't': no column candidates"):
        table(count_columns=("candidates",))


def test_a_figure_needs_its_table_beside_it():
    with pytest.raises(AnalysisError, match="no table 'other' beside it"):
        section(tables=(table(),), figures=(figure("other"),))


def test_a_figure_needs_a_text_alternative():
    with pytest.raises(AnalysisError, match="no text alternative"):
        section(tables=(table(),), figures=(figure(alt=" "),))


def test_keys_are_used_once_in_a_report():
    twice = (section(tables=(table("s"),)),)
    with pytest.raises(AnalysisError, match="key s is used twice"):
        Report(name="r", title="R", period="", sections=twice, provenance=FROM)


def test_sources_are_cited_once_each_in_order_of_use():
    first = section(references=("gwet_2014",), tables=(table(references=("cohen_1960", "gwet_2014")),))
    report = Report(name="r", title="R", period="", sections=(first,), provenance=FROM)
    assert report.cited() == ["gwet_2014", "cohen_1960"]


def test_every_verdict_has_a_ring_and_opposites_have_different_ones():
    assert {verdict.ring for verdict in Verdict} == {"filled", "half", "open"}
    assert Verdict.YES.ring != Verdict.NO.ring
    assert Verdict.MET.ring != Verdict.NOT_MET.ring
