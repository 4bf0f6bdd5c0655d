"""From exports as a placement office has them to a report, by what is proposed alone."""

import datetime as dt
import random
import tomllib

import openpyxl
import pytest

from mentorstats import cli, records
from mentorstats.records.propose import propose, tried
from mentorstats.records.propose.draft.drafts import BEFORE

CRITERIA = (
    "1.1 Plans for pupils' prior learning (1-4)", "1.2 Sets clear aims (1-4)", "2.1 Manages the room (1-4)",
    "2.2 Builds rapport (1-4)", "3.1 Asks questions that make pupils think (1-4)",
)  # fmt: skip
HEADS = [
    "Date of visit",
    "Student Teacher",
    "Evaluator",
    "Obs #",
    *CRITERIA,
    "Total",
    "Strengths",
    "Comments",
]
FIRST = ("Ana", "Ben", "Cleo", "Dara", "Eli", "Fay", "Gus", "Hana", "Ira", "Jon", "Kim", "Lea")
LAST = ("Alder", "Birch", "Cedar", "Dale", "Elm", "Fern", "Grove", "Hazel", "Ivy", "Jarrah", "Kauri", "Larch")


def office(folder, *, year=2025, sheet="Obs 2025", name="placement_office.xlsx", more=()):
    """One workbook: a roster under titles, forms of all evaluators with names, totals and remarks."""
    rng = random.Random(year)
    people = [f"{first} {LAST[(i * 5 + 2) % 12]}" for i, first in enumerate(FIRST)]
    mentors = [f"{FIRST[(i + 5) % 12]} {LAST[i % 12]}son" for i in range(6)]
    supervisors = [f"Dr {FIRST[(i * 2 + 1) % 12]} {LAST[(i * 5) % 12]}by" for i in range(3)]
    book = openpyxl.Workbook()
    roster = book.active
    roster.title = "Placements"
    rows = [["Teacher Preparation Office"], [f"Placements {year}, exported 1 June"], []]
    rows.append(
        [
            "Student Teacher",
            "Cooperating Teacher",
            "University Supervisor",
            "School",
            "Program",
            "Start",
            "End",
        ]
    )
    for i, who in enumerate(people):
        rows.append(
            [
                who,
                mentors[i // 2],
                supervisors[i % 3],
                f"School {i % 3}",
                "Elementary",
                f"1/13/{year}",
                f"5/16/{year}",
            ]
        )
    rows.append(["Grand total", 12])
    for row in rows:
        roster.append(row)
    forms = book.create_sheet(sheet)
    forms.append([*HEADS, *more])
    n = 0
    for i, who in enumerate(people):
        for visit in range(4):
            day = dt.date(year, 1, 20) + dt.timedelta(days=24 * visit + i % 5)
            day -= dt.timedelta(days=max(0, day.weekday() - 4))
            for rater in [supervisors[i % 3], mentors[i // 2]][: 1 + (i + visit) % 2]:
                given = [
                    rng.choice([1, 2, 3, 3, 4]) if rng.random() > 0.05 else rng.choice(["N/A", "n.o."])
                    for _ in CRITERIA
                ]
                n += sum(isinstance(level, int) for level in given)
                day_as_text = f"{day.month}/{day.day}/{day.year}"
                remarks = ["a clear voice and a good pace in the whole of the lesson", "Wait longer."]
                forms.append([day_as_text, who, rater, visit + 1, *given, 12, *remarks, *more])
    forms.append(["Grand total", None, None, None, *[90] * 5])
    book.create_sheet("Instructions").append(["Please fill in one row a visit."])
    book.save(folder / name)
    return n


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "exports"
    made.mkdir()
    return made


def run(capsys, *words):
    code = cli.main([str(word) for word in words])
    caught = capsys.readouterr()
    return code, caught.out, caught.err


def test_propose_check_report(folder, tmp_path, capsys):
    n = office(folder)
    code, printed, err = run(capsys, "propose", folder)
    assert (code, err) == (0, "")
    assert "placement_office.xlsx, sheet 'Obs 2025'    ratings" in printed
    assert "0 faulty entries set aside" in printed
    loaded = records.load(folder)
    assert loaded.ratings["level"].notna().sum() == n
    assert sorted(loaded.ratings["rater_role"].unique()) == ["mentor", "supervisor"]
    assert loaded.placements["placement"].nunique() == 12
    assert loaded.observations["date"].dt.year.unique().tolist() == [2025]
    assert loaded.observations["date"].dt.day_of_week.max() < 5  # month first, as the roster's 1/13 tells
    assert set(loaded.ratings["missing_reason"].dropna()) == {"not_applicable", "not_observed"}
    assert set(loaded.rubrics["title"]) >= {"Plans for pupils' prior learning"}
    code, printed, _ = run(capsys, "check", folder)
    assert code == 0
    asked = ("report", "rater-calibration", folder, "--out", tmp_path / "reports")
    code, _, err = run(capsys, *asked)
    assert code == 1
    assert "look like names of people" in err  # this office writes names where codes should be
    assert "a report stops until they are codes" in propose(folder).text
    code, printed, err = run(capsys, *asked, "--names-are-codes")
    assert (code, err) == (0, "")


def test_what_is_proposed_is_commented(folder):
    office(folder)
    found = propose(folder)
    tomllib.loads(found.text)
    assert 'mentor = "Cooperating Teacher"' in found.text
    marked = sum("# UNSURE" in line for line in found.text.splitlines())
    assert marked == sum(guess.unsure for draft in found.drafts.sources for _, guess in draft.guesses())
    assert "#   Strengths: remarks" in found.text
    assert "#   Total: computed from other columns" in found.text
    assert "sheet 'Instructions': no table of ours is like it" in found.text
    assert any("names the rubric" in line for line in found.left_open)
    assert all("%" in line for line in found.text.splitlines() if line.startswith("mentor ="))


def test_a_mapping_that_is_there_is_never_overwritten(folder, capsys):
    office(folder)
    run(capsys, "propose", folder)
    mapping = folder / "mapping.toml"
    kept = mapping.read_text(encoding="utf-8").replace('rubric = "rubric"', 'rubric = "fieldwork"')
    mapping.write_text(kept, encoding="utf-8")
    code, printed, _ = run(capsys, "propose", folder)
    assert code == 0
    assert mapping.read_text(encoding="utf-8") == kept
    beside = (folder / "mapping.proposed.toml").read_text(encoding="utf-8")
    assert "the old mapping still fits" in printed
    assert 'rubric = "fieldwork"' in beside
    assert f"# {BEFORE}" in beside
    assert tomllib.loads(beside)["source"] == tomllib.loads(kept)["source"]
    assert tomllib.loads(beside)["scale"] == tomllib.loads(kept)["scale"]


def test_next_years_exports_keep_what_was_known(folder, tmp_path):
    office(folder)
    found = propose(folder)
    text = found.text.replace('rubric = "rubric"', 'rubric = "fieldwork"')
    later = tmp_path / "later"
    later.mkdir()
    (later / "mapping.toml").write_text(text, encoding="utf-8")
    n = office(later, year=2026, sheet="Obs 2026", more=["Room"])
    again = propose(later)
    changes = "\n".join(again.drafts.changes)
    assert "sheet 'Obs 2025' is now 'Obs 2026'" in changes
    ratings = next(draft for draft in again.drafts.sources if draft.table == "ratings")
    assert ratings.constants["rubric"].value == "fieldwork"
    assert ("Room",) in [(heading,) for draft in again.drafts.sources for heading, _ in draft.unused]
    assert tried(later, again).rows["ratings"] == n + sum(
        level in ("N/A", "n.o.")
        for row in openpyxl.load_workbook(later / "placement_office.xlsx")["Obs 2026"].values
        for level in row
    )


def test_a_heading_that_changed_and_a_label_that_is_new(programme):
    programme.write()
    text = propose(programme.folder).text
    programme.mapping(text)
    table = programme.tables["placements"]
    table[0][2] = "mentor code"
    table[1][-1] = "Withdrawn"
    programme.csv("placements.csv", table)
    again = propose(programme.folder)
    changes = "\n".join(again.drafts.changes)
    assert "column 'mentor' is gone; 'mentor code' is taken for it" in changes
    assert "'Withdrawn' is new and is taken for 'ended_early'" in changes
    guess = next(d for d in again.drafts.sources if d.table == "placements").columns["mentor"]
    assert guess.unsure
    programme.mapping(again.text)
    assert programme.load().placements["mentor"].tolist() == ["M1", "M2"]


def test_a_file_that_is_new_is_listed(programme):
    programme.write()
    raters = programme.tables["raters"]
    (programme.folder / "raters.csv").unlink()
    programme.mapping(propose(programme.folder).text)
    programme.csv("people.csv", raters)
    again = propose(programme.folder)
    assert "new: people.csv as raters" in again.drafts.changes


ORDER = [["Candidate", "Date", "Observer", "Aims", "Calm", "Talk"]]
ORDER += [
    [f"C{i}", f"{i % 9 + 1}/{i % 4 + 1}/2025", f"S{i % 3}", *("ABC"[(i + k) % 3] for k in range(3))]
    for i in range(20)
]


def test_only_what_cannot_be_known_is_asked(programme):
    programme.csv("forms.csv", ORDER)
    asked = []

    def answer(question, answers):
        asked.append(question)
        return sorted(answers)[-1] if "level" in question else answers[0]

    found = propose(programme.folder, answer)
    assert [("level" in q, "role" in q, "day" in q) for q in asked].count((True, False, False)) == 2
    assert any("in which role" in question for question in asked)
    assert found.drafts.scales[0].levels.value == ["C", "B", "A"]
    assert not tried(programme.folder, found).refused


def test_nobody_to_ask_leaves_it_open(programme):
    programme.csv("forms.csv", ORDER)
    found = propose(programme.folder)
    assert "# levels = [" in found.text
    assert any(line.startswith("levels of rubric 1") for line in found.left_open)
    assert "lacks levels" in tried(programme.folder, found).refused


def test_a_piped_command_never_waits(programme, capsys, monkeypatch):
    programme.csv("forms.csv", ORDER)

    class Waits:
        def isatty(self):
            return False

        def readline(self):
            raise AssertionError("the command waits for an answer")

    monkeypatch.setattr("sys.stdin", Waits())
    assert run(capsys, "propose", programme.folder)[0] == 0


def test_at_a_terminal_answers_are_taken(programme, capsys, monkeypatch):
    programme.csv("forms.csv", ORDER)

    class Terminal:
        given = iter(["7", "x", "2", *["1"] * 20])

        def isatty(self):
            return True

        def readline(self):
            return next(self.given) + "\n"

    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    code, printed, err = run(capsys, "propose", programme.folder)
    assert code == 0
    assert "which level is the lowest" in err
    assert "not yet" not in printed


def test_a_folder_without_records_is_refused(programme, capsys):
    programme.csv("recipes.csv", [["Dish", "Grams"], ["Soup", "200"], ["Bread", "300"]])
    code, _, err = run(capsys, "propose", programme.folder)
    assert code == 2
    assert "nothing in the folder looks like records" in err
    assert not (programme.folder / "mapping.toml").exists()


def test_names_that_could_break_the_file_are_written_safely(programme):
    odd = 'Candidate "x"\\ \u202e #]'
    programme.csv(
        "a.csv",
        [
            [odd, "Mentor", "Start date", "School"],
            *([f"C{i}", "M1", "2025-01-13", "north"] for i in range(9)),
        ],
    )
    found = propose(programme.folder)
    parsed = tomllib.loads(found.text)
    assert odd in str(parsed) or odd in found.text or "Candidate" in str(parsed)
    assert "\u202e" not in "".join(line for line in found.text.splitlines() if line.startswith("#"))
