"""An invented programme's records, before any office has laid them out: what is true of each layout."""

import datetime as dt
import random
from dataclasses import dataclass, field

FIRST = [
    "Ana",
    "Ben",
    "Cleo",
    "Dara",
    "Eli",
    "Fay",
    "Gus",
    "Hana",
    "Ira",
    "Jon",
    "Kim",
    "Lea",
    "Max",
    "Nia",
    "Ora",
    "Pia",
    "Quin",
    "Rui",
    "Sól",
    "Tam",
]
LAST = [
    "Alder",
    "Birch",
    "Cedar",
    "Dale",
    "Elm",
    "Fern",
    "Grove",
    "Hazel",
    "Ivy",
    "Jarrah",
    "Kauri",
    "Larch",
    "Maple",
    "Nettle",
    "Oak",
    "Pine",
    "Quince",
    "Rowan",
]
SITES = ("Northfield School", "Harbour School", "Hill Street School", "Café Lane School")
AREAS = ("Elementary", "Secondary mathematics", "Special education", "Science")
GRADES = ("K-2", "3-5", "6-8", "9-12")
WORDS = (
    "Plans for what pupils know already", "Sets clear aims for the lesson", "Keeps the room calm",
    "Builds trust with pupils", "Asks questions that make pupils think", "Checks what pupils understood",
    "Gives useful feedback", "Reflects on the lesson",
)  # fmt: skip


@dataclass
class Office:
    """People, placements, lessons and levels of a small programme."""

    seed: int
    named: bool
    placements: list = field(default_factory=list)
    lessons: list = field(default_factory=list)
    forms: list = field(default_factory=list)
    criteria: tuple = ()

    def __post_init__(self):
        rng = random.Random(self.seed)
        n = rng.choice([14, 18, 24])
        candidates = self._people(rng, n, "C")
        mentors = self._people(rng, n // 2, "M")
        supervisors = self._people(rng, 4, "S")
        self.criteria = tuple(WORDS[: rng.choice([4, 5, 6, 8])])
        start = dt.date(2025, 1, 13)
        for i, candidate in enumerate(candidates):
            self.placements.append(
                {
                    "placement": f"P{i + 101}",
                    "candidate": candidate,
                    "mentor": mentors[i // 2],
                    "supervisor": supervisors[i % 4],
                    "site": SITES[i % 4],
                    "cohort": "2024-25",
                    "licensure_area": AREAS[i % 3],
                    "grade_band": GRADES[i % 4],
                    "start": start + dt.timedelta(days=7 * (i % 2)),
                    "end": start + dt.timedelta(days=120 + i % 5),
                    "status": ("completed", "completed", "ended_early")[i % 3 if i % 5 else 0],
                }
            )
        number = 0
        for place in self.placements:
            able = rng.gauss(2.5, 0.6)
            for visit in range(1, rng.choice([3, 4]) + 1):
                number += 1
                day = start + dt.timedelta(days=20 * visit + rng.randrange(12))
                day -= dt.timedelta(days=max(0, day.weekday() - 4))
                lesson = {
                    **place,
                    "observation": f"V{number:04d}",
                    "visit": visit,
                    "date": day,
                    "minutes": rng.choice([45, 60, 75, 90]),
                    "visit_mode": rng.choice(["in_person", "live_video", "recording"]),
                    "pre_conference": rng.random() < 0.7,
                }
                self.lessons.append(lesson)
                roles = ["supervisor", "mentor"] if rng.random() < 0.5 else ["supervisor"]
                for role in roles:
                    levels = [
                        None
                        if rng.random() < 0.03
                        else min(4, max(1, round(able + rng.gauss(0.1 * visit, 0.7))))
                        for _ in self.criteria
                    ]
                    self.forms.append({**lesson, "rater": place[role], "rater_role": role, "levels": levels})

    def _people(self, rng, n, letter):
        if not self.named:
            return [f"{letter}{i + 11}" for i in range(n)]
        found = {}
        while len(found) < n:
            found[f"{rng.choice(FIRST)} {rng.choice(LAST)}{ {'C': '', 'M': 'son', 'S': 'by'}[letter] }"] = (
                None
            )
        return list(found)

    def given(self):
        """Number of levels given, and their sum."""
        every = [level for form in self.forms for level in form["levels"] if level]
        return len(every), sum(every)
