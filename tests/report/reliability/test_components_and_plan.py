"""Section of components and plans: what it says, shows and hides; the figure can be read without colour."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure as Canvas

from mentorstats.calibration.networks.extra_scores_by_role import role_links
from mentorstats.errors import ArgumentError
from mentorstats.estimate import Status
from mentorstats.reliability import figures
from mentorstats.reliability.criteria.by_criterion import by_criterion
from mentorstats.reliability.plans.halves import change_between_halves
from mentorstats.reliability.plans.visit_plans import visit_plans
from mentorstats.report.figures import drawing
from mentorstats.report.figures import plans as plan_figure
from mentorstats.report.reliability import components_and_plan, plan_words
from mentorstats.report.render.view import view


def ratings(candidates=40, supervisors=12, seed=1):
    """Twelve supervisors in two networks, two a candidate, four lessons each, two criteria."""
    generator = np.random.default_rng(seed)
    rows = []
    severity = generator.normal(0, 0.3, supervisors)
    for candidate in range(candidates):
        of_candidate = generator.normal(0, 0.6)
        half = supervisors // 2
        base = 0 if candidate % 2 else half
        pair = base + generator.choice(half, 2, replace=False)
        for lesson in range(4):
            of_lesson = generator.normal(0, 0.2)
            for rater in pair:
                for criterion in ("k7w2", "m3d9"):
                    score = 5 + of_candidate + severity[rater] + of_lesson + generator.normal(0, 0.5)
                    rows.append(
                        (candidate, 10 * candidate + lesson, f"s{rater:02}", criterion, score, 1 + lesson)
                    )
    names = ["candidate", "observation", "rater", "criterion", "rank", "week"]
    return pd.DataFrame(rows, columns=names).assign(rater_role="supervisor")


@pytest.fixture(scope="module")
def plans():
    return visit_plans(ratings())


def built(found, rules, *, rubrics=None, links=()):
    """Stand in for a survey that found these plans."""
    survey = SimpleNamespace(
        plans=found,
        criteria=None if found.estimable.empty else by_criterion(found.scores, *found.size),
        change=None if found.estimable.empty else change_between_halves(found.scores),
    )
    none = pd.DataFrame(columns=["rubric", "version", "criterion"])
    return components_and_plan.section(survey, links, none if rubrics is None else rubrics, rules)


@pytest.fixture(scope="module")
def made(plans, shipped):
    return built(plans, shipped, links=role_links(plans.scores.table))


def test_the_answer_and_the_tables(plans, made):
    assert plan_words.advice(plans) in made.answer
    assert "of the variance of one visit's score is the candidate." in made.answer
    assert "separate networks" in made.detail[-1]
    keys = [table.key for table in made.tables]
    own = [
        "visit-plans-near",
        "score-components",
        "visit-plans",
        "criteria-separately",
        "change-plans",
        "links",
    ]
    assert keys == own
    assert len(made.tables[0].data) <= 6
    assert "candidate" not in made.tables[-1].columns
    assert made.findings[0].what.startswith("A dependable score takes ")
    table = made.tables[1]
    assert list(table.data["component"]) == list(plans.study.components.index)
    assert table.data["meaning"].str.len().min() > 0
    assert table.data["share"].sum() == pytest.approx(1)
    np.testing.assert_array_equal(table.data["variance"], plans.study.components["variance"])
    for each in made.tables:
        cells = [cell.text for row in view(each).rows for cell in row]
        assert "nan" not in " ".join(cells)


def test_mean_squares_have_a_table_of_their_own(minimum):
    table = ratings().assign(week=1)
    balanced = []
    for rater in ("s00", "s01", "s02"):
        rows = table.drop_duplicates(["candidate", "observation", "criterion"]).assign(rater=rater)
        noise = np.random.default_rng(len(balanced)).normal(0, 0.4, len(rows))
        balanced.append(rows.assign(rank=rows["rank"] + noise))
    found = visit_plans(pd.concat(balanced, ignore_index=True))
    assert found.study.method == "anova"
    section = built(found, minimum(1))
    squares = next(table for table in section.tables if table.key == "score-mean-squares")
    np.testing.assert_array_equal(squares.data["ms"], found.study.mean_squares["ms"])
    assert "df" not in [column.name for column in section.tables[1].columns]


def test_criteria_have_their_titles(declared, shipped):
    table = ratings().assign(rubric="hearthside", rubric_version="1")
    found = visit_plans(table, rubrics=declared.assign(weight=1.0))
    section = built(found, shipped, rubrics=declared)
    shown = next(each for each in section.tables if each.key == "criteria-separately")
    assert shown.data["criterion_words"].iloc[0] == "Says what the lesson is for"
    n_raters, each = found.size
    assert f"{n_raters * each} visits by {n_raters} rater" in shown.title


def test_few_people_are_not_shown(shipped):
    section = built(visit_plans(ratings(supervisors=8)), shipped)
    assert section.status is Status.TOO_FEW_TO_SHOW
    assert not section.tables
    assert not section.figures


def test_nothing_to_plan_from(shipped):
    section = built(visit_plans(ratings().assign(rank=3)), shipped)
    assert section.status is Status.NO_SPREAD
    assert "nothing varies" in section.answer


def test_lines_differ_without_colour(plans):
    canvas = Canvas()
    axes = canvas.subplots()
    figures.plans(plans, axes)
    looks = {
        (line.get_marker(), str(line.get_linestyle())) for line in axes.lines if line.get_marker() != "None"
    }
    assert len(looks) == 3
    assert len({marker for marker, _ in looks}) == 3
    words = {text.get_text() for text in axes.texts}
    assert {"1 rater", "2 raters", "3 raters", "wanted: 0.80"} <= words
    many = visit_plans(ratings(), raters=range(1, 8), visits=[2])
    with pytest.raises(ArgumentError, match="7 numbers of raters"):
        figures.plans(many, Canvas().subplots())


def test_the_figure_in_words_and_as_a_file(plans, made):
    (figure,) = made.figures
    table = plans.estimable.set_index(["n_raters", "n_visits"]).dependability
    assert f"1 rater: {table[1, 1]:.2f} with 1 visit, {table[1, 6]:.2f} with 6" in figure.alt
    assert "0.80 wanted" in figure.alt
    assert 'role="img"' in drawing.svg(figure, made.tables[2].data)
    assert plan_figure.picture(plans, "png").startswith(b"\x89PNG")
    assert plan_figure.picture(plans, "svg") == plan_figure.picture(plans, "svg")
    with pytest.raises(ArgumentError, match="nothing to draw"):
        plan_figure.picture(visit_plans(ratings().assign(rank=3)), "png")


def test_sentences_about_networks():
    one, other = (role_links(ratings(supervisors=n))[0] for n in (12, 12))
    assert "12 supervisors are in 2 separate networks" in plan_words.linkage(one)
    assert "1 extra double-scored lesson is enough to connect them" in plan_words.linkage(one)
    assert "candidates they share." in plan_words.linkage(replace(other, n_networks=1, n_networks_within=1))
    assert "other roles" in plan_words.linkage(replace(other, n_networks=1))
    stays = plan_words.linkage(replace(one, role="mentor", own=True, n_networks_within=9))
    assert "12 mentors are in 2 separate networks (9 without raters of other roles)" in stays
