"""Layouts of one programme's exports as offices really have them, drawn from a seed, each with its truth.

A column's truth is a pair: the uses that a mapping must make of it, and those that it may make. A use is
table and field, as in ``ratings.rater``; ``ratings.criteria`` is a criterion of a wide form.
"""

import csv
import datetime as dt
import random
from dataclasses import dataclass, field

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
from openpyxl.utils import get_column_letter
from propose.programme_office import Office

HEADINGS = {
    "placement": ["Placement", "Placement ID", "placement_code", "Placement no.", "Plcmt ID"],
    "candidate": [
        "Candidate",
        "Student Teacher",
        "Teacher candidate",
        "Candidate name",
        "Trainee",
        "Intern",
        "Student teacher's name",
        "Resident",
        "candidate_id",
        "ST name",
    ],
    "mentor": [
        "Mentor",
        "Cooperating Teacher",
        "Mentor teacher",
        "Host teacher",
        "Mentor name",
        "Coop. teacher",
        "Class teacher",
    ],
    "supervisor": [
        "Supervisor",
        "University Supervisor",
        "Univ. supervisor",
        "Field instructor",
        "Supervisor name",
        "Visiting supervisor",
    ],
    "site": ["School", "Site", "Placement school", "School name", "Campus", "Placement site"],
    "cohort": ["Cohort", "Academic year", "Cycle", "Year group", "Intake", "Semester"],
    "licensure_area": [
        "Licensure area",
        "Program",
        "Certification area",
        "Licence",
        "Subject area",
        "Endorsement area",
    ],
    "grade_band": ["Grade band", "Grades", "Grade level", "Phase", "Grade(s) taught"],
    "start": ["Start", "Start date", "Begins", "Placement start date", "From", "Date started"],
    "end": ["End", "End date", "Ends", "Placement end date", "Until", "Date ended"],
    "status": ["Status", "Placement status", "State", "Current status"],
    "observation": ["Observation ID", "Visit code", "Lesson ID", "Obs ID", "Observation", "Visit ID"],
    "visit": ["Visit no.", "Obs #", "Lesson no.", "Visit", "Observation number", "Visit number"],
    "date": [
        "Date",
        "Date of visit",
        "Observation date",
        "Visit date",
        "Date observed",
        "Lesson date",
        "Observed on",
    ],
    "minutes": ["Minutes", "Length (min)", "Duration (minutes)", "Lesson length in minutes", "Mins observed"],
    "hours": ["Length (hours)", "Duration (h)", "Hours observed", "Lesson length in hours"],
    "visit_mode": ["Mode", "Visit mode", "Format", "How observed", "Mode of observation"],
    "pre_conference": ["Pre-conference", "Conference before", "Pre-conference held?", "Planning meeting"],
    "rater": [
        "Evaluator",
        "Rater",
        "Observer",
        "Completed by",
        "Assessor",
        "Observer name",
        "Rated by",
        "Scorer",
    ],
    "rater_role": ["Role", "Rater role", "Observer role", "Evaluator type", "Completed as"],
    "criterion": ["Criterion", "Rubric item", "Indicator", "Element", "Item", "Rubric criterion"],
    "level": ["Level", "Rating", "Score", "Rating given", "Mark", "Performance level"],
    "comments": ["Comments", "Notes", "Remarks", "Narrative feedback", "Additional comments"],
    "email": ["E-mail", "Email address", "Contact email"],
    "total": ["Total", "Average", "Total score", "Mean score"],
    "number": ["Row", "#", "Response number", "Timestamp"],
}
# Headings that no descriptor lists: as offices, systems and online surveys put them.
UNLISTED = {
    "placement": ["PLACEMENT_ID", "Plcmt code", "Placement record no", "placementRef"],
    "candidate": [
        "STUDENT_TEACHER",
        "teacherCandidate",
        "Name of candidate",
        "Candidate observed",
        "CAND_ID",
        "Which candidate did you observe?",
        "Name of the student teacher",
        "Candidat name",
    ],
    "mentor": [
        "MENTOR_TCHR",
        "Coop Teacher",
        "Mentor (school)",
        "mentorName",
        "Assigned mentor",
        "Mentr teacher",
    ],
    "supervisor": ["UNIV_SUPERVISOR", "Supv.", "Assigned supervisor", "supervisorName", "Superviser"],
    "site": ["SCHOOL_NAME", "Name of school", "School of placement", "schoolSite", "Host school"],
    "cohort": ["COHORT_YR", "Cohort/Year", "cohortName", "Intake year"],
    "licensure_area": [
        "LICENSURE",
        "Programme / area",
        "License area sought",
        "certificationArea",
        "Teaching area",
    ],
    "grade_band": ["GRADE_LVL", "Grade span", "gradeBand", "Grade level(s)"],
    "start": [
        "PLACEMENT_START_DT",
        "Start of placement",
        "startDate",
        "Placement begins on",
        "First day of placement",
    ],
    "end": ["PLACEMENT_END_DT", "End of placement", "endDate", "Placement ends on", "Last day of placement"],
    "status": ["PLACEMENT_STATUS", "Status of placement", "currentStatus"],
    "observation": ["OBSERVATION_ID", "Obs code", "Unique visit ID", "observationId", "Lesson code"],
    "visit": ["VISIT_NO", "Observation # (1-4)", "Which visit is this?", "visitNumber", "No. of visit"],
    "date": [
        "OBSERVATION_DT",
        "Date of the lesson",
        "When did you visit? (date)",
        "visitDate",
        "Day of visit",
    ],
    "minutes": ["OBS_MINUTES", "Observed for (minutes)", "lengthMinutes", "Time in class (min)"],
    "hours": ["OBS_HOURS", "Observed for (hours)", "Time in class (hours)"],
    "visit_mode": ["VISIT_MODE", "How was the lesson observed?", "visitMode", "Way of visiting"],
    "pre_conference": [
        "PRE_CONFERENCE",
        "Was a pre-conference held?",
        "preConference",
        "Pre-observation conference",
    ],
    "rater": [
        "EVALUATOR_NAME",
        "Your name",
        "Name of observer",
        "evaluatorId",
        "Person completing form",
        "Observer ID",
    ],
    "rater_role": ["EVALUATOR_ROLE", "Your role", "Role of observer", "evaluatorRole", "I am the"],
    "criterion": ["RUBRIC_CRITERION", "Criterion rated", "criterionName", "Indicator assessed"],
    "level": ["RATING_VALUE", "Level awarded", "ratingGiven", "Score (1-4)"],
    "comments": ["COMMENTS_TXT", "Any other comments?", "Evidence and comments"],
    "email": ["EMAIL_ADDR", "Your e-mail"],
    "total": ["TOTAL_SCORE", "Average of ratings"],
    "number": ["RESPONSE_ID", "Submission time", "Record no."],
}
STATUS = {
    "completed": ["Completed", "completed", "Finished", "COMPLETE"],
    "ended_early": ["Withdrew", "Ended early", "withdrawn", "Left early"],
}
MODES = {
    "in_person": ["In person", "Face to face", "on site"],
    "live_video": ["Live video", "virtual", "Video call"],
    "recording": ["Recording", "Recorded", "video recording"],
}
ROLES = {
    "mentor": ["Mentor", "Cooperating teacher", "mentor teacher", "CT"],
    "supervisor": ["Supervisor", "University supervisor", "supervisor", "US"],
}
MISSING = ["N/A", "n.o.", "", "not observed", "-"]
LEVELS = {
    "numbers": ["1", "2", "3", "4"],
    "points": ["1,0", "2,0", "3,0", "4,0"],
    "words": ["Unsatisfactory", "Developing", "Proficient", "Exemplary"],
    "expectations": [
        "Below expectations",
        "Approaching expectations",
        "Meets expectations",
        "Exceeds expectations",
    ],
    "numbered": ["1 - Beginning", "2 - Emerging", "3 - Effective", "4 - Advanced"],
    "after": ["Beginning (1)", "Emerging (2)", "Effective (3)", "Advanced (4)"],
}
MONTHS = {
    "fr": ["janvier", "février", "mars", "avril", "mai", "juin"],
    "de": ["Januar", "Februar", "März", "April", "Mai", "Juni"],
    "es": ["enero", "febrero", "marzo", "abril", "mayo", "junio"],
}
DATES = (
    "%Y-%m-%d",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "us",
    "%d.%m.%Y",
    "%d %B %Y",
    "%b %d, %Y",
    "%d-%b-%y",
    "fr",
    "de",
    "es",
)
KEY = {f"{t}.{f}" for t, f in (("observations", "observation"), ("ratings", "observation"))}
PLACE = {"observations.placement", "placements.placement"}


@dataclass
class Layout:
    """One folder of exports: its sheets are written, its truth is kept."""

    seed: int
    features: list = field(default_factory=list)
    truth: dict = field(default_factory=dict)
    office: Office = None
    hard: bool = True
    noise: float = 0.0  # share of headings that say nothing, such as "Field 7"

    def write(self, folder):
        rng = self.rng = random.Random(1000 + self.seed)
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.office = Office(self.seed, named=rng.random() < 0.5)
        unlisted = rng.choice([0.0, 0.5, 1.0]) if self.hard else 0.0
        self.names = {
            name: rng.choice(UNLISTED[name] if rng.random() < unlisted else words)
            for name, words in HEADINGS.items()
        }
        for number, name in enumerate(self.names):
            if random.Random(f"{self.seed} {name}").random() < self.noise:
                self.names[name] = f"Field {number}"
        self.features += [f"unlisted:{unlisted:.0%}"] if unlisted else []
        self.kind = rng.choice(["csv", "csv", "xlsx", "xlsx", "xlsx", "parquet"])
        self.encoding = rng.choice(["utf-8", "utf-8-sig", "cp1252", "utf-16"]) if self.kind == "csv" else ""
        self.delimiter = rng.choice([",", ";", "\t"]) if self.kind == "csv" else ""
        self.days = rng.choice(DATES)
        self.typed = self.kind == "xlsx" and rng.random() < 0.4
        self.scale = rng.choice(list(LEVELS))
        self.shape = rng.choice(["form", "form", "wide", "long", "long form", "sides"])
        self.key = rng.choice(["code", "number", "date"])
        self.roles = rng.choice(["column", "placements", "files"]) if self.shape != "sides" else "sides"
        self.titles = rng.randrange(4) if rng.random() < 0.6 and self.kind != "parquet" else 0
        self.blanks = rng.random() < 0.4
        self.totals = rng.random() < 0.5 and self.kind != "parquet"
        self.hidden = rng.random() < 0.4 and self.kind == "xlsx"
        self.placement_codes = rng.random() < 0.4
        self.hours = rng.random() < 0.3
        self.split = rng.random() < 0.3 and self.office.named and self.hard
        self.terms = rng.random() < 0.3 and self.shape in ("form", "wide") and self.roles != "files"
        self.per_criterion = rng.random() < 0.3 and self.shape in ("form", "wide")
        self.features += [
            self.kind, self.shape, f"key:{self.key}", f"roles:{self.roles}", f"levels:{self.scale}",
            "dates:cells" if self.typed else f"dates:{self.days}",
            *([self.encoding] if self.encoding else []),
            *(["titles"] if self.titles else []), *(["blanks"] if self.blanks else []),
            *(["totals"] if self.totals else []), *(["hidden"] if self.hidden else []),
            *(["names"] if self.office.named else []), *(["surname apart"] if self.split else []),
            *(["a sheet a term"] if self.terms else []),
            *(["remarks a criterion"] if self.per_criterion else []),
        ]  # fmt: skip
        if self.kind == "xlsx":
            self.book = openpyxl.Workbook()
            self.book.remove(self.book.active)
        self._placements()
        if self.shape in ("wide", "long"):
            self._observations()
        self._ratings()
        if self.kind == "xlsx":
            if self.hidden:
                sheet = self.book.create_sheet("Lists")
                for row in (
                    ["Schools", "Roles"],
                    ["Northfield School", "Mentor"],
                    ["Harbour School", "Supervisor"],
                ):
                    sheet.append(row)
                sheet.sheet_state = "hidden"
            self.book.save(folder / "export 2025.xlsx")
        return self

    # What cells hold.
    def _day(self, day):
        if self.typed:
            return day
        if self.days == "us":
            return f"{day.month}/{day.day}/{day.year}"
        if self.days in MONTHS:
            mark = "." if self.days == "de" else ""
            return f"{day.day}{mark} {MONTHS[self.days][day.month - 1]} {day.year}"
        return day.strftime(self.days)

    def _level(self, level):
        if level is None:
            return self.rng.choice(MISSING[:3] if self.scale != "points" else ["", "-"])
        text = LEVELS[self.scale][level - 1]
        if self.scale == "numbers" and self.kind != "csv":
            return int(text) if self.kind == "xlsx" else text
        if self.scale in ("words", "expectations") and self.rng.random() < 0.05:
            return text.upper()
        return text

    def _length(self, minutes):
        if not self.hours:
            return str(minutes)
        text = f"{minutes / 60:g}"
        if self.kind == "xlsx":
            return minutes / 60
        return text.replace(".", ",") if self.delimiter == ";" else text

    def _title(self, place):
        words = self.office.criteria[place]
        style = self.seed % 4
        return [
            f"{place // 2 + 1}.{place % 2 + 1} {words} (1-4)",
            words,
            f"Q{place + 1}. {words}",
            f"C{place + 1} {words}",
        ][style]

    # Sheets.
    def _placements(self):
        concepts = [
            "candidate",
            "mentor",
            "supervisor",
            "site",
            "cohort",
            "licensure_area",
            "grade_band",
            "start",
            "end",
            "status",
        ]
        if self.placement_codes:
            concepts.insert(0, "placement")
        for name in ("cohort", "grade_band", "licensure_area", "status"):
            if self.rng.random() < 0.25:
                concepts.remove(name)
        word = {code: self.rng.choice(words) for code, words in STATUS.items()}
        rows = [
            {**p, "start": self._day(p["start"]), "end": self._day(p["end"]), "status": word[p["status"]]}
            for p in self.office.placements
        ]
        truth = {c: ({f"placements.{c}"}, {f"placements.{c}"}) for c in concepts}
        truth["candidate"] = (truth["candidate"][0], {"placements.candidate", "placements.placement"})
        if "placement" in truth:  # where no other sheet has the code, the candidate tells placements apart
            truth["placement"] = (set(), {"placements.placement"})
        for name in ("cohort", "site", "mentor", "start"):
            if name in truth:
                truth[name][1].add("placements.placement")
        if self.split:
            at = concepts.index("candidate")
            concepts[at : at + 1] = ["surname", "first name"]
            for row in rows:
                row["first name"], row["surname"] = row["candidate"].split(" ", 1)
            truth["surname"] = truth["first name"] = truth["candidate"]
        self._sheet("Placements", "placements", concepts, rows, truth, extras=("comments", "email"))

    def _lesson_concepts(self):
        length = "hours" if self.hours else "minutes"
        found = {
            "code": ["observation", "candidate"],
            "number": ["candidate", "visit"],
            "date": ["candidate"],
        }[self.key]
        found = [*found, "date", length, "visit_mode", "pre_conference"]
        if self.placement_codes and self.rng.random() < 0.5:
            found.append("placement")
        return found

    def _lesson_cells(self, lesson):
        if not hasattr(self, "words"):
            self.words = {code: self.rng.choice(words) for code, words in MODES.items()}
            self.yes = self.rng.choice([("Yes", "No"), ("Y", "N"), ("yes", "no"), ("TRUE", "FALSE")])
        length = "hours" if self.hours else "minutes"
        return {
            **lesson,
            "date": self._day(lesson["date"]),
            length: self._length(lesson["minutes"]),
            "visit_mode": self.words[lesson["visit_mode"]],
            "pre_conference": self.yes[0 if lesson["pre_conference"] else 1],
        }

    def _lesson_truth(self, concepts, *, rated):
        """Uses of the columns that tell of a lesson; ``rated`` where ratings stand in the same sheet."""
        must_key = (
            {"observations.observation", "ratings.observation"} if rated else {"observations.observation"}
        )
        own = {name: {f"observations.{name}"} for name in ("date", "visit_mode", "pre_conference")}
        truth = {name: (uses, uses) for name, uses in own.items() if name in concepts}
        for name in ("minutes", "hours"):
            if name in concepts:
                truth[name] = ({"observations.minutes"}, {"observations.minutes"})
        may = KEY | PLACE | {"placements.candidate"}
        truth["candidate"] = (set() if "placement" in concepts else {"observations.placement"}, may)
        if "placement" in concepts:
            truth["placement"] = (set(), KEY | PLACE)
            truth["candidate"] = (set(), may)
        if "observation" in concepts:
            truth["observation"] = (must_key, KEY)
        if "visit" in concepts:
            truth["visit"] = (must_key, KEY)
        truth["date"] = ({"observations.date"}, {"observations.date"} | KEY)
        if self.key == "date":
            truth["date"] = ({"observations.date"} | must_key, truth["date"][1])
        return truth

    def _observations(self):
        concepts = self._lesson_concepts()
        rows = [self._lesson_cells(lesson) for lesson in self.office.lessons]
        truth = self._lesson_truth(concepts, rated=False)
        self._sheet("Visits", "visit_log", concepts, rows, truth, extras=("comments",))

    def _ratings(self):
        apart = self.roles == "files"
        groups = ("mentor", "supervisor") if apart else ("",)
        if self.shape == "sides":
            self._side_by_side()
            return
        form = self.shape in ("form", "long form")
        concepts = self._lesson_concepts() if form else self._pointer()
        concepts = [*concepts, "rater", *(["rater_role"] if self.roles == "column" else [])]
        for role in groups:
            chosen = [f for f in self.office.forms if not role or f["rater_role"] == role]
            middle = dt.date(2025, 3, 1)
            for term in ("early", "late") if self.terms else ("",):
                part = [f for f in chosen if not term or (f["date"] < middle) == (term == "early")]
                self._rating_sheet(role, part, concepts, form, term)

    def _pointer(self):
        return {"code": ["observation"], "number": ["candidate", "visit"], "date": ["candidate", "date"]}[
            self.key
        ]

    def _rating_sheet(self, role, chosen, concepts, form, term=""):
        if not hasattr(self, "role_words"):
            self.role_words = {code: self.rng.choice(words) for code, words in ROLES.items()}
        wide = self.shape in ("form", "wide")
        titles = [self._title(i) for i in range(len(self.office.criteria))]
        rows = []
        for f in chosen:
            cells = {**self._lesson_cells(f), "rater_role": self.role_words[f["rater_role"]]}
            if wide:
                total = sum(level or 0 for level in f["levels"])
                rows.append(
                    {
                        **cells,
                        **{t: self._level(v) for t, v in zip(titles, f["levels"], strict=True)},
                        "total": total,
                    }
                )
            else:
                rows += [
                    {**cells, "criterion": t, "level": self._level(v)}
                    for t, v in zip(titles, f["levels"], strict=True)
                ]
        truth = self._lesson_truth(concepts, rated=True) if form else self._pointer_truth()
        truth = {name: uses for name, uses in truth.items() if name in concepts}
        truth["rater"] = ({"ratings.rater"}, {"ratings.rater", "ratings.rater_role"})
        truth["rater_role"] = ({"ratings.rater_role"}, {"ratings.rater_role"})
        remarks = [f"Comments on {i + 1}" for i in range(len(titles))] if self.per_criterion else []
        more = titles if wide else ["criterion", "level"]
        for name in more:
            uses = {"ratings.criteria"} if wide else {f"ratings.{name}"}
            truth[name] = (uses, uses)
        extras = ("comments", *(("total",) if wide and self.scale == "numbers" else ()), "number")
        title = f"{role.title()} evaluations".strip() if role else f"Obs 2025 {term}".strip()
        stem = f"{role}_evaluations" if role else f"evaluations_2025{term and '_'}{term}"
        if remarks:
            more = [part for pair in zip(titles, remarks, strict=True) for part in pair]
        self._sheet(title, stem, [*concepts, *more], rows, truth, extras=extras)

    def _pointer_truth(self):
        if self.key == "code":
            return {"observation": ({"ratings.observation"}, {"ratings.observation"})}
        uses = ({"ratings.observation"}, {"ratings.observation"})
        return {"candidate": uses, "visit": uses, "date": uses}

    def _side_by_side(self):
        """One row a lesson, levels of mentor and supervisor side by side under merged headings."""
        concepts = [*self._lesson_concepts(), "mentor", "supervisor"]
        titles = [self._title(i) for i in range(len(self.office.criteria))]
        by = {(f["observation"], f["rater_role"]): f for f in self.office.forms}
        rows = []
        for lesson in self.office.lessons:
            cells = self._lesson_cells(lesson)
            for role in ("mentor", "supervisor"):
                f = by.get((lesson["observation"], role))
                levels = f["levels"] if f else [None] * len(titles)
                for t, v in zip(titles, levels, strict=True):
                    cells[f"{role}|{t}"] = self._level(v) if f and v else ""
            rows.append(cells)
        truth = self._lesson_truth(concepts, rated=True)
        for role in ("mentor", "supervisor"):
            truth[role] = ({"ratings.rater"}, {"ratings.rater", f"placements.{role}"})
        for role in ("mentor", "supervisor"):
            for t in titles:
                truth[f"{role}|{t}"] = ({"ratings.criteria"}, {"ratings.criteria"})
        sides = [f"{role}|{t}" for role in ("mentor", "supervisor") for t in titles]
        self._sheet(
            "Obs 2025", "visits_2025", [*concepts, *sides], rows, truth, extras=("comments",), sides=True
        )

    def _sheet(self, title, stem, concepts, rows, truth, *, extras=(), sides=False):
        """Write one sheet: columns in any order, remarks and blank columns between, title rows and totals."""
        rng = self.rng
        fields = {*HEADINGS, "surname", "first name"}
        block = [c for c in concepts if c not in fields]
        order = [c for c in concepts if c in fields]
        if rng.random() < 0.6:
            rng.shuffle(order)
        chosen = [e for e in extras if rng.random() < 0.6]
        order = [*order, *block, *chosen]
        if self.blanks:
            order.insert(rng.randrange(1, len(order)) if not block else 1, "blank")
        flat = {c: self._heading(c) for c in order}
        cells = [[self._cell(row, c) for c in order] for row in rows]
        upper = None
        if sides and self.kind != "parquet" and rng.random() < 0.6:
            upper = [c.split("|")[0].title() if "|" in c else "" for c in order]
            lower = [c.split("|")[1] if "|" in c else flat[c] for c in order]
            self.features.append("two rows")
            heads = [upper, lower]
        else:
            heads = [[flat[c] for c in order]]
        if self.totals:
            # Most offices total what they can count, at the foot and with the word in the first column.
            cells.append(["Grand total" if i == 0 else "" for i in range(len(order))])
            cells[-1][min(1, len(order) - 1)] = str(len(rows))
        if self.totals and rng.random() < 0.5:
            cells.append(["Printed by the placement office", *[""] * (len(order) - 1)])
        tops = [[f"{title}, spring 2025"], ["Teacher preparation office"], []][: self.titles]
        where = self._save(title, stem, tops, heads, cells)
        for c in order:
            heading = " ".join(
                dict.fromkeys(
                    x for x in (upper[order.index(c)] if upper else "", heads[-1][order.index(c)]) if x
                )
            )
            if c != "blank":
                self.truth[(*where, heading)] = truth.get(c, (set(), set()))

    def _heading(self, concept):
        if concept == "blank":
            return ""
        if concept in ("surname", "first name"):
            return {"surname": "Last name", "first name": "First name"}[concept]
        if "|" in concept:
            role, title = concept.split("|")
            return f"{role.title()}: {title}"
        return self.names.get(concept, concept)

    def _cell(self, row, concept):
        if concept == "comments" or concept.startswith("Comments on"):
            return self.rng.choice(
                ["", "Clear aims and a calm start; wait longer after each question, please.", "Good lesson"]
            )
        if concept == "email":
            return f"{str(row['candidate']).replace(' ', '.').lower()}@office.example"
        if concept == "number":
            row_number = self.counter = getattr(self, "counter", 0) + 1
            return row_number
        return row.get(concept, "")

    def _save(self, title, stem, tops, heads, cells):
        rows = [*tops, *heads, *cells]
        if self.kind == "xlsx":
            sheet = self.book.create_sheet(title)
            for row in rows:
                sheet.append([None if cell == "" else cell for cell in row])
            if len(heads) == 2:
                at = len(tops) + 1
                for role in ("Mentor", "Supervisor"):
                    places = [i + 1 for i, cell in enumerate(heads[0]) if cell == role]
                    for i in places[1:]:
                        sheet.cell(at, i).value = None
                    sheet.merge_cells(
                        f"{get_column_letter(places[0])}{at}:{get_column_letter(places[-1])}{at}"
                    )
            elif tops:
                sheet.merge_cells(f"A1:{get_column_letter(len(heads[0]))}1")
            return "export 2025.xlsx", title
        if self.kind == "parquet":
            names = [h or f"_{i}" for i, h in enumerate(heads[0])]
            data = {n: [_plain(row[i]) for row in cells] for i, n in enumerate(names)}
            pq.write_table(pa.table(data), self.folder / f"{stem}.parquet")
            return f"{stem}.parquet", ""
        with (self.folder / f"{stem}.csv").open(
            "w", newline="", encoding=self.encoding, errors="replace"
        ) as out:
            csv.writer(out, delimiter=self.delimiter).writerows(rows)
        return f"{stem}.csv", ""


def _plain(cell):
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return None if cell == "" else str(cell)


def uses(proposal):
    """What a proposal does with each column, by file, sheet and heading, and whether it says it is unsure."""
    found, unsure = {}, {}
    for draft in proposal.drafts.sources:
        file, sheet = draft.plain["file"], draft.plain.get("sheet", "")
        for name, guess in draft.guesses():
            kind, _, key = name.partition(".")
            if kind not in ("columns", "criteria"):
                continue
            value = guess.value
            heads = (
                [value]
                if isinstance(value, str)
                else value
                if isinstance(value, list)
                else value.get("columns") or [value["column"]]
            )
            for heading in heads:
                place = (file, sheet, heading)
                found.setdefault(place, set()).add(
                    f"{draft.table}.{key if kind == 'columns' else 'criteria'}"
                )
                unsure[place] = unsure.get(place, False) or guess.unsure
        for heading, why in draft.unused:
            unsure[file, sheet, heading] = why.startswith("UNSURE")
    return found, unsure


@dataclass(frozen=True)
class Judged:
    """What became of one column."""

    place: tuple
    right: bool
    unsure: bool
    did: frozenset
    must: frozenset


def judged(layout, proposal):
    """Hold each column of a layout to its truth."""
    found, unsure = uses(proposal)
    told = []
    unread = {name for name, why in proposal.drafts.unread if why.startswith("UNSURE")}
    for place, (must, may) in layout.truth.items():
        did = found.get(place, set())
        file, sheet, _ = place
        if (f"{file}, sheet {sheet!r}" if sheet else file) in unread:
            unsure[place] = True
        told.append(
            Judged(place, must <= did <= may, unsure.get(place, False), frozenset(did), frozenset(must))
        )
    return told
