"""What looks odd in records without being wrong, for a person to look at."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from mentorstats import dictionary, places
from mentorstats.records.problems import COLUMNS, NOTICE

FEWEST_CRITERIA = 4  # of a form, below which levels that are all alike are common
_FORM = ["observation", "rater", "rubric", "rubric_version"]
_PLACE = ["file", "sheet", "row"]
_PEOPLE = {"mentor": "rater", "supervisor": "rater"}  # fields that hold the codes of another field
_INITIALS = 2
_LONGEST_NAME, _SHORTEST_NAME = 60, 8  # letters of a name in which a slip is looked for

Tables = Mapping[str, pd.DataFrame]


@cache
def vocabulary() -> dict[str, dict[str, Any]]:
    """Return each kind of oddity with its meaning and remedy, from data_dictionary/vocabulary."""
    text = (places.data_dictionary() / "vocabulary" / "oddities.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def oddities(tables: Tables, long: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each thing that looks odd, columns as those of the problems table.

    Parameters
    ----------
    tables
        The tables of the records.
    long
        The long table.

    Returns
    -------
    DataFrame
        ``rule`` is one of `vocabulary`, ``effect`` always notice, and the place that of the first row meant.
    """
    parts = [_listed(rule, find(tables, long)) for rule, find in _KINDS.items()]
    rows = [row for part in parts for row in part]
    kinds = dict.fromkeys(COLUMNS, "str") | {"row": "Int64"}
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(kinds)


Found = tuple[str, str, str, Any]  # problem, column, value, and the row it stands in


def _listed(rule: str, found: Iterable[Found]) -> Iterable[tuple[Any, ...]]:
    remedy = vocabulary()[rule]["remedy"]
    for problem, column, value, row in found:
        yield (problem, *(row[name] for name in _PLACE), column, value, rule, NOTICE, remedy)


def _spelled_alike(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    for field, values in _texts(tables).items():
        bare = _bare(values["value"])
        groups = values.assign(bare=bare)[bare.duplicated(keep=False) & bare.ne("")]
        for _key, group in groups.groupby("bare", sort=False):
            names = " and ".join(repr(value) for value in group["value"].iloc[:3])
            last = group.iloc[-1]
            yield f"{names} may be one {_title(field)}", field, last["value"], last


def _one_letter_apart(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    for field, values in _texts(tables).items():
        names = values[values["value"].str.fullmatch(rf"(?=.* )[^\d]{{{_SHORTEST_NAME},{_LONGEST_NAME}}}")]
        bare = _bare(names["value"])
        names = names.assign(bare=bare).drop_duplicates("bare")
        seen: dict[str, int] = {}
        pairs: dict[tuple[int, int], None] = {}
        for number, text in enumerate(names["bare"]):
            for less in {text, *(text[:i] + text[i + 1 :] for i in range(len(text)))}:
                other = seen.setdefault(less, number)
                if other != number:
                    pairs[other, number] = None
        for one, other in pairs:
            row, like = names.iloc[other], names.iloc[one]["value"]
            if _only_initials_differ(like, row["value"]):
                continue
            yield f"{like!r} and {row['value']!r} may be one {_title(field)}", field, row["value"], row


def _only_initials_differ(one: str, other: str) -> bool:
    """Whether names differ in an initial or a number of letters only, as those of different people do."""
    differing = set(one.lower().split()) ^ set(other.lower().split())
    return max((len(word.strip(".")) for word in differing), default=0) <= _INITIALS


def _called_total(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    words = vocabulary()["called_total"]["words"]
    for field, values in _texts(
        tables, only=("candidate", "rater", "placement", "observation", "pupil")
    ).items():
        plain = values["value"].str.lower().str.strip(" :.").str.replace(r"\s+", " ", regex=True)
        for _index, row in values[plain.isin(words) | plain.str.startswith(("total ", "total:"))].iterrows():
            yield f"a {_title(field)} is called {row['value']!r}", field, row["value"], row


def _rater_without_placement(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    placed = set(tables["placements"]["mentor"].dropna()) | set(tables["placements"]["supervisor"].dropna())
    if not placed:
        return
    ratings = tables["ratings"]
    rows = ratings[ratings["rater_role"].isin(["mentor", "supervisor"]) & ~ratings["rater"].isin(placed)]
    lessons = rows.groupby("rater", sort=False)["observation"].nunique()
    for _index, row in rows.drop_duplicates("rater").iterrows():
        n = _counted(int(lessons[row["rater"]]), "lesson")
        yield f"{row['rater']!r} rated {n} and is in no placement", "rater", row["rater"], row


def _before_placement(tables: Tables, long: pd.DataFrame) -> Iterable[Found]:
    early = long[(long["week"] < 1).fillna(False) & long["rater_role"].eq("supervisor")]
    sizes = early.groupby("placement", sort=False)["observation"].nunique()
    for _index, row in early.drop_duplicates("placement").iterrows():
        n = _counted(int(sizes[row["placement"]]), "lesson")
        yield (
            f"a supervisor rated {n} of placement {row['placement']!r} before it began",
            "date",
            f"{row['date']:%Y-%m-%d}",
            row,
        )


def _one_level_form(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    forms = _forms(tables["ratings"])
    flat = forms[forms["n_levels"] == 1]
    every = forms.groupby("rater").size()
    mine = flat.groupby("rater").size()
    for _index, row in flat.drop_duplicates("rater").iterrows():
        n, of = int(mine[row["rater"]]), int(every[row["rater"]])
        verb = "gives" if n == 1 else "give"
        yield (
            f"{n} of {_counted(of, 'form')} of {row['rater']!r} {verb} every criterion the same level",
            "level",
            "",
            row,
        )


def _copied_form(tables: Tables, _: pd.DataFrame) -> Iterable[Found]:
    forms = _forms(tables["ratings"])
    lesson = ["observation", "rubric", "rubric_version"]
    forms = forms[(forms["n_levels"] > 1) & forms.duplicated(lesson, keep=False)]
    both = forms.merge(forms, on=lesson, suffixes=("", "_other"))
    both = both[both["rater"] < both["rater_other"]]
    alike = both[(both["print"] == both["print_other"]) & (both["n_criteria"] == both["n_criteria_other"])]
    met, same = (part.groupby(["rater", "rater_other"]).size() for part in (both, alike))
    for _index, row in alike.drop_duplicates(["rater", "rater_other"]).iterrows():
        pair = (row["rater"], row["rater_other"])
        yield (
            f"the forms of {pair[0]!r} and {pair[1]!r} have the same level in every criterion of "
            f"{int(same[pair])} of {_counted(int(met[pair]), 'lesson')}",
            "level",
            ", ".join(pair),
            row,
        )


_KINDS: dict[str, Callable[[Tables, pd.DataFrame], Iterable[Found]]] = {
    "spelled_alike": _spelled_alike,
    "one_letter_apart": _one_letter_apart,
    "called_total": _called_total,
    "rater_without_placement": _rater_without_placement,
    "before_placement": _before_placement,
    "one_level_form": _one_level_form,
    "copied_form": _copied_form,
}


def _texts(tables: Tables, *, only: tuple[str, ...] = ()) -> dict[str, pd.DataFrame]:
    """Distinct codes and names by field, each with the first row in which it stands."""
    found: dict[str, list[pd.DataFrame]] = {}
    for name, table in tables.items():
        declared = dictionary.table(name)
        if name == "rubrics" or table.empty:
            continue
        pointing = {field for key in declared.foreign_keys for field in key.fields} - {"rater"}
        for field in declared.fields:
            meant = _PEOPLE.get(field.name, field.name)
            free = field.type == "string" and not field.categories and field.name not in pointing
            if free and (not only or meant in only):
                first = ~table[field.name].duplicated() & table[field.name].notna()
                rows = table.loc[first, [*_PLACE, field.name]].rename(columns={field.name: "value"})
                found.setdefault(meant, []).append(rows)
    return {
        field: pd.concat(parts, ignore_index=True).drop_duplicates("value") for field, parts in found.items()
    }


def _bare(texts: pd.Series) -> pd.Series:
    """Texts in small letters without accents, blanks and punctuation."""
    plain = pc.utf8_normalize(pa.array(texts, pa.string()), form="NFKD")
    plain = pc.replace_substring_regex(pc.utf8_lower(plain), r"[^\pL\pN]", "")
    return pd.Series(plain.to_pandas().to_numpy(), index=texts.index, dtype="str")


def _forms(ratings: pd.DataFrame) -> pd.DataFrame:
    """One row a form of enough criteria: where it begins, its number of levels, and a print of its levels."""
    rated = ratings[ratings["level"].notna()]
    form = rated.groupby(_FORM, sort=False, observed=True).ngroup()
    print_of = pd.util.hash_pandas_object(rated[["criterion", "level"]].astype("str"), index=False)
    by = pd.DataFrame(
        {"form": form, "print": print_of.to_numpy(), "level": rated["level"].cat.codes}
    ).groupby("form")
    told = by.agg(
        n_criteria=("level", "size"), low=("level", "min"), high=("level", "max"), print=("print", "sum")
    )
    first = rated.loc[~form.duplicated(), [*_FORM, *_PLACE]].set_axis(form[~form.duplicated()].to_numpy())
    forms = first.join(told)
    forms["n_levels"] = (forms["low"] != forms["high"]).astype("int64") + 1
    return forms[forms["n_criteria"] >= FEWEST_CRITERIA]


def _title(field: str) -> str:
    return field.replace("_", " ")


def _counted(n: int, noun: str) -> str:
    return f"{n:,} {noun}{'' if n == 1 else 's'}"
