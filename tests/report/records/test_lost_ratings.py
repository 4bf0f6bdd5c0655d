"""A mapping that loses a level or a role does not pass for a sound report."""

import openpyxl
import pandas as pd
import pytest

from mentorstats import agreement, demo, policy, records
from mentorstats.estimate import Status
from mentorstats.report.agreement import double_scoring
from mentorstats.report.agreement.differences import _phrase
from mentorstats.report.model import Verdict
from mentorstats.report.records import used


@pytest.fixture
def exports(tmp_path):
    demo.write(tmp_path / "demo")
    return tmp_path / "demo"


def sections(frame, rules):
    """The sections about records, computed as the analysis does."""
    long = frame.long()
    pair = agreement.survey(long, frame.rubrics, rules, observations=frame.observations)
    return (
        used.section(frame.sources, frame.problems, pair.flow, rules),
        double_scoring.section(pair.lessons, rules),
    )


def of_folder(folder):
    return sections(records.load(folder), policy.read(folder))


def without(folder, line):
    mapping = folder / "mapping.toml"
    text = mapping.read_text(encoding="utf-8")
    assert line in text
    mapping.write_text(text.replace(line, ""), encoding="utf-8")


def test_the_demo_loses_little(exports):
    found, _ = of_folder(exports)
    assert found.verdict is None
    assert not found.caution
    assert not found.findings


def test_a_level_that_the_mapping_does_not_know_is_named_at_the_top(exports):
    without(exports, 'Reliably = "reliable"\n')
    found, _ = of_folder(exports)
    assert found.verdict is Verdict.NOT_MET
    (finding,) = found.findings
    assert "quillmoor_2023-24.xlsx, sheet Mentor forms" in finding.concerns
    assert "correct the faults" in finding.action
    assert found.caution


def test_no_pair_left_is_said_as_it_is(exports):
    frame = records.load(exports)
    ratings = frame.ratings[frame.ratings["rater_role"] != "supervisor"]
    alone = records.Records(
        **{
            **{n: getattr(frame, n) for n in ("problems", "sources")},
            "tables": {**frame.tables, "ratings": ratings},
        }
    )
    found, _ = sections(alone, policy.read(exports))
    assert "No rating can be compared" in found.answer


def test_the_headline_names_a_clear_difference_and_says_when_candidates_are_few():
    rows = pd.DataFrame(
        {
            "criterion": ["k7w2", "m3d9"],
            "criterion_words": pd.Series([None, None], dtype="str"),
            "value": [-0.30, 0.56],
            "value_low": [-0.50, -0.32],
            "value_high": [-0.10, 1.43],
            "value_status": [Status.FEW_CLUSTERS, Status.FEW_CLUSTERS],
            "n_units": [90, 80],
            "n_clusters": [12, 12],
        }
    )
    minimum = policy.read().rule("minimum_group_size")
    both = _phrase("hearthside", rows, minimum)
    assert "on k7w2" in both
    assert "few candidates" in both
    assert "no clear difference on any criterion" in _phrase("hearthside", rows.iloc[1:], minimum)


def test_lessons_of_few_candidates_are_not_counted_in_the_sentence(exports):
    minimum = exports / "policy.toml"
    minimum.write_text(
        '[[rule]]\nid = "minimum_group_size"\nvalue = 500\ninequality = ">="\nunit = "people"\n'
        'source = "common practice, no source"\nkind = "convention"\neffective_from = 2020-01-01\n',
        encoding="utf-8",
    )
    _, scored = of_folder(exports)
    assert scored.verdict is Verdict.NOT_ASSESSED
    assert "416" not in scored.answer
    assert "fewer than 500" in scored.answer


def test_a_sheet_that_no_block_names_does_not_stop_the_load(exports):
    path = exports / "quillmoor_2023-24.xlsx"
    book = openpyxl.load_workbook(path)
    book.create_sheet("Scratch").append(["a note"])
    book.save(path)
    found = records.load(exports)
    noted = found.problems[found.problems["sheet"] == "Scratch"]
    assert noted["effect"].tolist() == ["notice"]
