"""How each cycle of the invented programme kept its records: no two alike."""

from collections.abc import Iterable, Mapping
from functools import partial

from mentorstats.demo import practice
from mentorstats.demo.layout import Layout
from mentorstats.demo.rubric import Rubric

Fields = Mapping[str, Iterable[str]]

WORKBOOK = "quillmoor_2023-24.xlsx"
_YES_NO = {"Yes": "true", "No": "false"}


def layouts(rubric: Rubric, fields: Fields) -> list[list[Layout]]:
    """Return the exports of each cycle, and last those that all cycles share.

    Parameters
    ----------
    rubric
        Gives the labels and the criteria's wording.
    fields
        Columns of each clean table.
    """
    return [_first(rubric), _second(rubric), _third(fields), _shared(fields)]


def _first(rubric: Rubric) -> list[Layout]:
    """Lay out a workbook of wide forms, with the rubric's labels for levels."""
    return [
        _first_placements(),
        _first_visits(),
        _first_forms(rubric, "mentor"),
        _first_forms(rubric, "supervisor"),
    ]


def _first_placements() -> Layout:
    return Layout(
        file=WORKBOOK,
        sheet="Placements",
        table="placements",
        columns={
            "placement": "Placement",
            "candidate": "Candidate code",
            "mentor": "Mentor code",
            "supervisor": "Supervisor code",
            "site": "School",
            "cohort": "Cycle",
            "licensure_area": "Area",
            "grade_band": "Grades",
            "start": "First day",
            "end": "Last day",
            "status": "Outcome",
            "first_generation": "First in family to study",
            "gender": "Gender",
            "entry_route": "Came from",
        },
        values={
            "status": {"Finished": "completed", "Stopped early": "ended_early"},
            "first_generation": _YES_NO,
            "entry_route": {"School": "school_leaver", "Another job": "career_changer"},
        },
    )


def _first_visits() -> Layout:
    return Layout(
        file=WORKBOOK,
        sheet="Visits",
        title="Quillmoor Teaching Partnership: visits",
        table="observations",
        columns={
            "observation": "Visit no.",
            "placement": "Placement",
            "date": "Day of visit",
            "minutes": "Minutes watched",
            "purpose": "Who taught",
            "visit_mode": "How",
            "pre_conference": "Met before?",
            "debrief_date": "Day of talk",
            "debrief_minutes": "Minutes of talk",
            "strengths_noted": "Strengths noted",
            "improvements_noted": "Next steps noted",
        },
        values={
            "purpose": {"Both": "both_teach", "Candidate": "candidate_teaches"},
            "visit_mode": {
                "In the room": "in_person",
                "Live video": "live_video",
                "Recording": "recording",
            },
            "pre_conference": _YES_NO,
        },
    )


def _first_forms(rubric: Rubric, role: str) -> Layout:
    return Layout(
        file=WORKBOOK,
        sheet=f"{role.capitalize()} forms",
        title=f"Quillmoor Teaching Partnership: {role} forms",
        table="ratings",
        columns={
            "observation": "Visit no.",
            "rater": f"{role.capitalize()} code",
            "independent": "Scored alone?",
        },
        constants={"rater_role": role, "rubric": rubric.name, "rubric_version": "1"},
        criteria=rubric.versions["1"],
        levels={label: level for level, label in rubric.labels.items()},
        missing={"not seen": "not_observed", "n/a": "not_applicable", "withheld": "withheld"},
        values={"independent": _YES_NO},
    )


def _second(rubric: Rubric) -> list[Layout]:
    """Lay out wide text files with semicolons and day-first dates, as a form service gives them out."""
    return [_second_placements(), _second_visits(), _second_forms(rubric)]


_day_first = partial(Layout, delimiter=";", encoding="utf-8-sig", date="%d/%m/%Y")


def _second_placements() -> Layout:
    return _day_first(
        file="placements_2024-25.csv",
        table="placements",
        columns={
            "placement": "placement_ref",
            "candidate": "candidate_ref",
            "mentor": "mentor_ref",
            "supervisor": "supervisor_ref",
            "site": "school",
            "cohort": "year",
            "licensure_area": "subject_area",
            "grade_band": "grades",
            "start": "from",
            "end": "until",
            "status": "state",
            "first_generation": "first_gen",
            "gender": "gender",
            "entry_route": "route",
        },
        values={
            "status": {"complete": "completed", "stopped": "ended_early"},
            "first_generation": {"Y": "true", "N": "false"},
        },
    )


def _second_visits() -> Layout:
    return _day_first(
        file="visits_2024-25.csv",
        table="observations",
        columns={
            "observation": "visit_ref",
            "placement": "placement_ref",
            "date": "visited_on",
            "minutes": "length_min",
            "purpose": "teaching",
            "visit_mode": "mode",
            "pre_conference": "talk_before",
            "debrief_date": "talk_after_on",
            "debrief_minutes": "talk_after_min",
            "strengths_noted": "n_strengths",
            "improvements_noted": "n_next_steps",
        },
        values={"pre_conference": {"1": "true", "0": "false"}},
        remarks="remarks",
    )


def _second_forms(rubric: Rubric) -> Layout:
    return _day_first(
        file="forms_2024-25.csv",
        table="ratings",
        columns={
            "observation": "visit_ref",
            "rater": "scored_by",
            "rater_role": "scored_as",
            "independent": "alone",
        },
        constants={"rubric": rubric.name, "rubric_version": "1"},
        criteria={code: f"{code} - {text}" for code, text in rubric.versions["1"].items()},
        levels=dict(zip(("H", "P", "S", "L"), rubric.levels, strict=True)),
        missing={
            "-": "not_observed",
            "does not apply": "not_applicable",
            "consent withdrawn": "withheld",
        },
        values={
            "rater_role": {"School mentor": "mentor", "Visiting supervisor": "supervisor"},
            "independent": {"1": "true", "0": "false"},
        },
        remarks="remarks",
    )


def _third(fields: Fields) -> list[Layout]:
    """Lay out long text files, close to our own names, under the revised rubric."""
    return [
        Layout(file="placements_2025-26.csv", table="placements", columns=_same(fields["placements"])),
        Layout(file="observations_2025-26.csv", table="observations", columns=_same(fields["observations"])),
        Layout(
            file="ratings_2025-26.csv",
            table="ratings",
            columns={
                "observation": "observation",
                "rater": "rater",
                "rater_role": "role",
                "rubric": "rubric",
                "rubric_version": "version",
                "criterion": "criterion",
                "level": "level",
                "missing_reason": "why_none",
                "independent": "independent",
            },
            values={
                "missing_reason": {
                    "NO": "not_observed",
                    "NA": "not_applicable",
                    "NS": "not_scored",
                    "WH": "withheld",
                }
            },
        ),
    ]


def _shared(fields: Fields) -> list[Layout]:
    return [
        Layout(file="raters.csv", table="raters", columns=_same(fields["raters"])),
        Layout(file="rubrics.csv", table="rubrics", columns=_same(fields["rubrics"])),
        _key_scores(fields["key_ratings"]),
        *(Layout(file=f"{name}.csv", table=name, columns=_same(fields[name])) for name in practice.TABLES),
    ]


def _key_scores(names: Iterable[str]) -> Layout:
    """Lay out the certification exercise, kept by one office for all cycles."""
    headings = {"rater": "scored by", "recording": "clip", "key_level": "key", "date": "scored on"}
    return Layout(
        file="key_scores.csv",
        table="key_ratings",
        date="%d.%m.%Y",
        columns={name: headings.get(name, name) for name in names},
    )


def _same(names: Iterable[str]) -> dict[str, str]:
    return {name: name for name in names}
