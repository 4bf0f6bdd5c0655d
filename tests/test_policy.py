"""What a programme may write in policy.toml and study.toml, and that anything else is one message."""

import math
import random
import re
import stat
from datetime import date

import pytest

from mentorstats import cli, policy
from mentorstats.declared import bands, study, toml_file
from mentorstats.errors import MentorstatsError, PolicyError, SourceFileError

ROW = """[[rule]]
id = "minimum_group_size"
value = 25
inequality = ">="
unit = "people"
source = "common practice, no source"
kind = "convention"
effective_from = 2020-01-01
meaning = "Smallest group that our programme shows."
"""


def read(tmp_path, text):
    (tmp_path / "policy.toml").write_text(text, encoding="utf-8")
    return policy.read(tmp_path)


def refused(tmp_path, text):
    with pytest.raises(PolicyError) as error:
        read(tmp_path, text)
    message = str(error.value)
    assert str(tmp_path / "policy.toml") in message
    assert "\n" not in message
    assert len(message) < 1500
    return message


@pytest.mark.parametrize("inequality", ["<", "<=", "==", "=", "", "> ="])
def test_a_minimum_cannot_be_turned_round(tmp_path, inequality):
    said = refused(tmp_path, ROW.replace('">="', f'"{inequality}"'))
    assert "rule minimum_group_size" in said
    assert 'Allowed: ">=", ">".' in said
    assert "Change inequality." in said


@pytest.mark.parametrize(
    "value", ["0", "-3", "nan", "inf", "-inf", "2.5", '"ten"', "true", "[20]", "{a = 1}"]
)
def test_a_minimum_is_a_whole_number_of_people(tmp_path, value):
    for text in (ROW.replace("= 25", f"= {value}"), f"minimum_group_size = {value}"):
        said = refused(tmp_path, text)
        assert "rule minimum_group_size: value = " in said
        assert "Allowed: a whole number from 1 to 10,000. Change value." in said


def test_every_shipped_row_says_what_may_stand_in_its_place():
    for rule in policy.read().rules:
        limits = rule.allowed
        assert rule.inequality in limits.inequalities
        assert {">" in name for name in limits.inequalities} == {">" in rule.inequality}, rule.id
        assert limits.names or max(limits.least, limits.above) > -math.inf, rule.id
        assert limits.names or min(limits.most, limits.below) < math.inf, rule.id
        assert not limits.holds(math.inf)
        assert not limits.holds(-1e9)
        assert limits.holds(math.nan) == math.isnan(rule.value) or limits.names, rule.id
        assert limits.holds(rule.choice or rule.value)


def test_words_for_agreement_are_the_scales_there_are(tmp_path):
    assert set(policy.read().rule("agreement_words").allowed.names) == set(bands.scales())
    assert read(tmp_path, 'agreement_words = "fleiss_1981"').choice("agreement_words") == "fleiss_1981"
    assert '"landis_koch_1977"' in refused(tmp_path, "agreement_words = 3")


def test_one_line_sets_a_value_and_keeps_the_rest(tmp_path):
    own = read(tmp_path, "minimum_group_size = 20\ncandidate_cut = 2.5\n")
    rule = own.rule("minimum_group_size")
    assert (rule.value, rule.inequality, rule.unit) == (20, ">=", "people")
    assert rule.source == policy.OWN_SOURCE
    assert own.value("candidate_cut") == 2.5
    assert own.value("minimum_group_size_outside") == policy.read().value("minimum_group_size_outside")
    assert len(own.rules) == len(policy.read().rules)


def test_a_programme_may_give_its_own_source(tmp_path):
    for source in ("programme decision", "Board of studies, 12 March 2026"):
        own = read(tmp_path, ROW.replace("common practice, no source", source))
        assert own.rule("minimum_group_size").source == source
    assert "source = 3 is no text" in refused(tmp_path, ROW.replace('"common practice, no source"', "3"))
    assert "is no text" in refused(tmp_path, ROW.replace("common practice, no source", "a \\u0007 bell"))


def test_an_empty_file_and_a_byte_order_mark_do_no_harm(tmp_path):
    assert repr(read(tmp_path, "").rules) == repr(policy.read().rules)
    assert read(tmp_path, "\N{ZERO WIDTH NO-BREAK SPACE}" + ROW).value("minimum_group_size") == 25


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("rule = [1]", "is no row"),
        ("rule = 3", "rule = 3 is no row"),
        ("[rule]\nid = 1", "is no row"),
        ("[[rule]]\nvalue = 3", "has no id"),
        (ROW.replace('"minimum_group_size"', "3"), "unknown rule 3"),
        (ROW.replace('"minimum_group_size"', "[[[]]]"), "unknown rule a list"),
        (ROW.replace("minimum_group_size", "minimum_group_sise"), "Did you mean minimum_group_size?"),
        ("minimum_grp_size = 4", "Did you mean minimum_group_size?"),
        (ROW.replace("unit", "units"), "unknown key 'units'"),
        (ROW.replace('unit = "people"\n', ""), "missing key unit"),
        (ROW.replace('"people"', '"lessons"'), 'Allowed: "people"'),
        (ROW.replace('"people"', "[1]"), "unit = a list is no text"),
        (ROW.replace('"convention"', "[1]"), "kind = a list is not allowed"),
        (ROW.replace('">="', "{a = 1}"), "inequality = a table is not allowed"),
        (ROW.replace("2020-01-01", '"2020-01-01"'), "is not a date"),
        (ROW.replace("2020-01-01", "2020-01-01T10:00:00"), "is not a date"),
        (ROW.replace("2020-01-01", "2020-02-30"), "is not legal TOML"),
        (ROW + "effective_to = 2019-12-31", "is before effective_from"),
        (ROW + ROW, "two rows are in force on 2020-01-01"),
        ("minimum_group_size = 5\n" + ROW, "two rows are in force"),
        (ROW.replace("= 25", "= " + "9" * 5000), "is not legal TOML"),
        (ROW.replace("= 25", "= " + "9" * 4000), "value = a number of very many digits"),
        (ROW.replace("= 25", "= 0x" + "f" * 5000), "value = a number of very many digits"),
        (ROW.replace("= 25", "= " + "[" * 5000 + "]" * 5000), "nested too deeply"),
        ("a." * 40_000 + "b = 1", "nested too deeply"),
        (ROW.replace("minimum_group_size", "x" * 50_000), "unknown rule"),
        (ROW + "allowed = { least = 0 }", "unknown key 'allowed'"),
        ("not toml", "is not legal TOML"),
        ("#" * 200_000, "has 200,000 bytes"),
    ],
)
def test_each_fault_of_a_policy_is_one_message(tmp_path, text, said):
    assert said in refused(tmp_path, text)


def test_two_rows_of_one_rule_may_follow_each_other(tmp_path):
    later = ROW.replace("= 25", "= 5").replace("2020-01-01", "2022-01-01")
    own = read(tmp_path, ROW + "effective_to = 2021-12-31\n" + later)
    on = [own.value("minimum_group_size", on=date(year, 6, 1)) for year in (2020, 2023)]
    assert on == [25, 5]


READERS = [(policy.read, "policy.toml", PolicyError), (study.read, "study.toml", SourceFileError)]


@pytest.mark.parametrize(("reader", "name", "error"), READERS)
def test_a_file_that_cannot_be_read_is_one_message(tmp_path, monkeypatch, reader, name, error):
    path = tmp_path / name
    path.write_bytes(b'a = "\xff"')
    with pytest.raises(error, match="line 1 is not UTF-8"):
        reader(tmp_path)
    path.unlink()
    path.symlink_to(tmp_path / "gone.toml")
    with pytest.raises(error, match="link to a file that does not exist"):
        reader(tmp_path)
    path.unlink()
    path.symlink_to(path)
    with pytest.raises(error, match="cannot be read"):
        reader(tmp_path)
    path.unlink()
    path.mkdir()
    with pytest.raises(error, match="is not a file"):
        reader(tmp_path)
    path.rmdir()
    path.write_text("")

    def closed(self):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(type(path), "read_bytes", closed)
    path.chmod(stat.S_IWUSR)
    with pytest.raises(error, match=r"cannot be read: Permission denied\. Make the file readable"):
        reader.__globals__["toml_file"].read(path, error)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("sampling = 3", "sampling = 3 is no text"),
        ("sampling = []", "sampling = a list is no text"),
        ("sampling = nan", "is no text"),
        ('sampling = "a \\u001b[31m"', "without control characters"),
        ('samplng = "x"', "Did you mean 'sampling'"),
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
        ("a = " + "9" * 5000, "is not legal TOML"),
        ('"' + "x" * 50_000 + '" = 1', "is no reporting item"),
    ],
)
def test_each_fault_of_a_study_is_one_message(tmp_path, text, said):
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SourceFileError) as error:
        study.read(tmp_path)
    assert said in str(error.value)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 1500


def test_check_reads_the_policy_and_the_study_too(tmp_path, capsys):
    (tmp_path / "raters.csv").write_text("rater,role\nm1,mentor\n", encoding="utf-8")
    assert cli.main(["check", str(tmp_path)]) == 0
    (tmp_path / "policy.toml").write_text("minimum_group_size = 0", encoding="utf-8")
    assert cli.main(["check", str(tmp_path)]) == 2
    assert "a whole number from 1 to 10,000" in capsys.readouterr().err
    (tmp_path / "policy.toml").unlink()
    (tmp_path / "study.toml").write_text("sampling = 1", encoding="utf-8")
    assert cli.main(["check", str(tmp_path)]) == 2
    assert "sampling = 1 is no text" in capsys.readouterr().err


STUDY = (
    'size_chosen = "Thirty lessons."\nsampling = """By lot,\nin two rounds."""\nrating_process = "Apart."\n'
)
MOST_CASES = 600
BITS = [
    "[",
    "]",
    "{",
    "}",
    '"',
    "'",
    "=",
    "\n",
    ".",
    ",",
    "#",
    "nan",
    "-inf",
    "0x1f",
    "1e400",
    "-0.0",
    "true",
]
BITS += ["2026-01-01", "24:00:00", "\\u0000", "[[rule]]", "[rule]", "rule = 1\n", "a.b.c = 1\n", "9" * 4500]
BITS += [
    "<",
    "minimum_group_size = 3\n",
    "allowed = 1\n",
    "\N{SNOWMAN}",
    "\r",
    "\x00",
    "[" * 2000,
    "--",
    "'''",
]


def mutated(rng, text):
    """The file with one to four faults: bits put in, cut out, doubled, bytes flipped, lines swapped."""
    data = text
    for _ in range(rng.randint(1, 4)):
        at, to = sorted(rng.randint(0, len(data)) for _ in range(2))
        lines = data.split("\n")
        rng.shuffle(lines)
        data = rng.choice(
            [
                data[:at] + rng.choice(BITS) + data[at:],
                data[:at] + data[min(to, at + 12) :],
                data[:to] + data[at:],
                data[:at]
                + chr(rng.choice([0, 7, 27, 34, 61, 91, 127, 255, 0x2028, 0xFFFF]))
                + data[at + 1 :],
                "\n".join(lines),
                re.sub(
                    r"= .*", lambda _: "= " + rng.choice([*BITS, "3", '"x"', "0.5", "[1, {}]"]), data, count=1
                ),
            ]
        )[:200_000]
    raw = data.encode("utf-8", "surrogatepass")
    if rng.random() < 0.1 and raw:
        at = rng.randrange(len(raw))
        raw = raw[:at] + bytes([rng.randrange(256)]) + raw[at + 1 :]
    return raw


def sound(own):
    """Whether every rule of a policy keeps to what its shipped row allows."""
    likes = {rule.id: rule for rule in policy.read().rules}
    for rule in own.rules:
        like = likes[rule.id]
        assert rule.inequality in like.allowed.inequalities
        assert like.allowed.holds(rule.choice or rule.value)
        assert rule.unit == like.unit
        assert rule.kind in policy.KINDS
    assert {rule.id for rule in own.rules} == set(likes)


def test_any_policy_or_study_is_a_message_or_sound(tmp_path):
    rng = random.Random(20)
    outcomes = {"policy kept": 0, "policy refused": 0, "study kept": 0, "study refused": 0}
    starts = [ROW, "minimum_group_size = 20\ncandidate_cut = nan\nconfidence = 0.9\n", ROW + "\n" + ROW]
    for case in range(MOST_CASES):
        of_policy = case % 3 < 2
        name, text = ("policy", rng.choice(starts)) if of_policy else ("study", STUDY)
        (tmp_path / f"{name}.toml").write_bytes(mutated(rng, text))
        found = outcome(policy.read if of_policy else study.read, tmp_path)
        refusal = isinstance(found, str)
        outcomes[f"{name} {'refused' if refusal else 'kept'}"] += 1
        if refusal:
            assert "\n" not in found
            assert len(found) < 1500
            assert str(tmp_path) in found
        elif of_policy:
            sound(found)
        else:
            assert all(toml_file.is_text(said) for said in found.values())
            assert set(found) <= {item.name for item in study.items()}
    assert min(outcomes.values()) > 10, outcomes


def outcome(reader, folder):
    """What was read, or the message."""
    try:
        return reader(folder)
    except MentorstatsError as error:
        return str(error)
