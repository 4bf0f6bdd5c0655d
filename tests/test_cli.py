"""Exit codes, messages and places of output; the numbers are tested where they are made."""

import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

import any_programme
import pandas as pd
import pytest
from msoffcrypto.format.ooxml import OOXMLFile

from mentorstats import __version__, agreement, cli, records
from mentorstats.commands import estimates
from mentorstats.errors import NothingUsableError
from mentorstats.report import provenance
from mentorstats.report import run as report_run
from mentorstats.report.model import Report
from mentorstats.report.numbers import bounds

ROOT = Path(cli.__file__).parent.parent

RATINGS = "\n".join(
    ["lesson,who,lev,site"]
    + [f"o{n},x,{n % 3 + 1},N" for n in range(40)]
    + [f"o{n},y,{(n % 3 + (n % 5 == 0)) % 3 + 1},N" for n in range(40)]
)
NARROW = f"mentorstats: {estimates.NARROW}\n"
AGREE = ("--unit", "lesson", "--rater", "who", "--level", "lev", "--levels", "1,2,3")


@pytest.fixture
def ratings(tmp_path):
    path = tmp_path / "ratings.csv"
    path.write_text(RATINGS)
    return path


@pytest.mark.parametrize("module", ["mentorstats", "mentorstats.cli"])
def test_the_module_runs_as_the_command_does(module):
    asked = [sys.executable, "-m", module, "--version"]
    done = subprocess.run(asked, capture_output=True, text=True, cwd=ROOT, check=True)
    assert __version__ in done.stdout


def run(capsys, *argv):
    code = cli.main([str(part) for part in argv])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_agree_prints_three_blocks_with_the_numbers_of_the_function(ratings, capsys):
    code, out, err = run(capsys, "agree", ratings, *AGREE, "--weights", "quadratic")
    assert (code, err) == (0, NARROW)
    blocks = [
        line for line in out.splitlines() if line and not line.startswith((" ", "Intervals", "few_clusters"))
    ]
    assert "few_clusters: " in out  # few units have some of the levels, and the output says what that means
    assert blocks[:3] == [
        "What raters did",
        "What blind raters would do",
        "Agreement beyond chance (quadratic weights)",
    ]
    table = pd.read_csv(ratings)
    found = agreement.coefficients(
        table, unit="lesson", rater="who", level="lev", levels=[1, 2, 3], weights="quadratic"
    )
    line = next(line for line in out.splitlines() if line.strip().startswith("cohen_kappa"))
    assert f"{found.loc['cohen_kappa', 'value']:.2f}" in line
    assert line.split()[-1] == "ok"


def test_agree_writes_the_unrounded_table(ratings, tmp_path, capsys):
    out = tmp_path / "new" / "table.parquet"
    code, printed, err = run(capsys, "agree", ratings, *AGREE, "--by", "site", "--out", out)
    assert (code, printed) == (0, "")
    assert str(out) in err
    read = pd.read_parquet(out).set_index(["site", "coefficient"])
    table = pd.read_csv(ratings)
    found = agreement.coefficients(
        table, unit="lesson", rater="who", level="lev", levels=[1, 2, 3], by="site"
    )
    pd.testing.assert_series_equal(read["value"], found["value"], check_exact=True, check_index_type=False)


def test_agree_by_group_gives_each_its_blocks_also_where_the_group_is_missing(ratings, capsys):
    ratings.write_text(RATINGS.replace("o1,x,2,N", "o1,x,2,S").replace("o7,y,2,N", "o7,y,2,"))
    code, out, _ = run(capsys, "agree", ratings, *AGREE, "--by", "site")
    assert code == 0
    assert out.count("What raters did") == 3
    assert "site S" in out
    assert "site not recorded" in out
    assert "no value (one_rater)" in out


def test_agree_reads_workbooks_and_parquet_alike(ratings, tmp_path, capsys):
    table = pd.read_csv(ratings)
    table.to_excel(tmp_path / "ratings.xlsx", index=False, sheet_name="first")
    table.to_parquet(tmp_path / "ratings.parquet")
    outs = [run(capsys, "agree", tmp_path / name, *AGREE)[1] for name in
            ("ratings.csv", "ratings.xlsx", "ratings.parquet")]  # fmt: skip
    assert outs[0] == outs[1] == outs[2]
    assert run(capsys, "agree", tmp_path / "ratings.xlsx", *AGREE, "--sheet", "first")[1] == outs[0]


@pytest.mark.parametrize(("mark", "word"), [(";", ";"), ("\t", "tab"), ("\t", "\\t"), ("|", "|")])
def test_other_delimiters_are_read_when_they_are_named(ratings, capsys, mark, word):
    plain = run(capsys, "agree", ratings, *AGREE)
    ratings.write_text(RATINGS.replace(",", mark))
    assert run(capsys, "agree", ratings, *AGREE, "--delimiter", word) == plain


def clustered(path):
    """Two raters of ten candidates under ten supervisors, crossed."""
    table = pd.read_csv(path)
    number = table["lesson"].str[1:].astype(int)
    repeated = pd.concat([table.assign(lesson=table["lesson"] + f"/{part}", part=part) for part in range(5)])
    number = pd.concat([number] * 5) + 40 * repeated["part"]
    repeated = repeated.assign(candidate=number % 10, supervisor=number // 10 % 10, cycle=number % 2)
    repeated.to_csv(path, index=False)
    return repeated


def test_clusters_silence_the_warning_and_are_those_of_the_function(ratings, capsys):
    table = clustered(ratings)
    printed = {}
    for cluster in ("candidate", "candidate,supervisor"):
        code, printed[cluster], err = run(capsys, "agree", ratings, *AGREE, "--cluster", cluster)
        assert (code, err) == (0, "")
    assert "for new candidates, these raters." in printed["candidate"]
    assert "for new candidates and new raters." in printed["candidate,supervisor"]
    found = agreement.coefficients(
        table,
        unit="lesson",
        rater="who",
        level="lev",
        levels=[1, 2, 3],
        cluster=["candidate", "supervisor"],
    ).loc["cohen_kappa"]
    assert bounds(found.low, found.high, "coefficient") in printed["candidate,supervisor"]


@pytest.mark.parametrize("interval", ["linearised_z", "bca", "percentile", "none"])
def test_intervals_are_those_of_the_function(ratings, tmp_path, capsys, interval):
    table, out = clustered(ratings), tmp_path / "table.parquet"
    asked = (*AGREE, "--interval", interval, "--cluster", "candidate", "--seed", "3", "--out", out)
    assert run(capsys, "agree", ratings, *asked)[0] == 0
    found = agreement.coefficients(
        table,
        unit="lesson",
        rater="who",
        level="lev",
        levels=[1, 2, 3],
        cluster="candidate",
        interval=interval,
        seed=3,
    )
    read = pd.read_parquet(out).set_index("coefficient")
    pd.testing.assert_frame_equal(read[["low", "high"]], found[["low", "high"]], check_index_type=False)
    assert list(read["interval_method"]) == list(found["interval_method"])


def test_crossed_clusters_cannot_be_resampled(ratings, capsys):
    clustered(ratings)
    asked = (*AGREE, "--interval", "bca", "--cluster", "candidate,supervisor")
    code, out, err = run(capsys, "agree", ratings, *asked)
    assert (code, out) == (2, "")
    assert "crossed" in err


@pytest.mark.parametrize(("name", "start"), [("figure.png", b"\x89PNG"), ("figure.SVG", b"<?xml")])
@pytest.mark.parametrize("by", [(), ("--by", "cycle")])
def test_a_figure_is_drawn_the_same_each_time(ratings, tmp_path, capsys, name, start, by):
    clustered(ratings)
    paths = [tmp_path / "one" / name, tmp_path / "two" / name]
    for path in paths:
        asked = (*AGREE, "--cluster", "candidate", *by, "--figure", path)
        code, out, err = run(capsys, "agree", ratings, *asked)
        assert (code, err) == (0, f"mentorstats: wrote {path}\n")
        assert "What raters did" in out
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert paths[0].read_bytes().startswith(start)


def test_a_figure_holds_the_counts_and_the_words(ratings, tmp_path, capsys):
    table, path = clustered(ratings), tmp_path / "figure.svg"
    assert run(capsys, "agree", ratings, *AGREE, "--cluster", "candidate", "--figure", path)[0] == 0
    drawn = path.read_text()
    n = agreement.paired_counts(table, unit="lesson", rater="who", level="lev", levels=[1, 2, 3])["n"]
    for count in n:
        assert f">{count}</text>" in drawn
    for words in ("level given by x", "level given by y", "cohen kappa", "new candidates, these raters"):
        assert words in drawn


def test_too_many_groups_for_one_figure(ratings, tmp_path, capsys):
    table = clustered(ratings)
    table.assign(group=table["lesson"].str[1:].str.split("/").str[0]).to_csv(ratings, index=False)
    path = tmp_path / "figure.png"
    code, out, err = run(
        capsys, "agree", ratings, *AGREE, "--interval", "none", "--by", "group", "--figure", path
    )
    assert (code, out) == (2, "")
    assert "40 groups do not fit" in err
    assert not path.exists()


def test_intraclass_correlations_are_a_block_where_there_are_any(ratings, capsys, monkeypatch):
    def icc(table, **asked):
        assert asked["unit"] == ["lesson"]
        assert len(table) == 80
        return pd.DataFrame({"value": [0.614], "low": [0.42], "high": [0.75]}, index=["icc_a_1"])

    monkeypatch.setattr(agreement, "icc", icc, raising=False)
    _, out, _ = run(capsys, "agree", ratings, *AGREE)
    block = out[out.index("Intraclass") :]
    assert "icc_a_1" in block
    assert "0.61" in block
    assert "[0.42, 0.75]" in block
    assert "Every rater rated every unit." in block


def test_labels_are_levels_too_and_na_is_one_of_them(tmp_path, capsys):
    path = tmp_path / "r.csv"
    path.write_text(
        "u,r,l\n" + "\n".join(f"{n},{r},{'NA' if n % 2 else 'high'}" for n in range(30) for r in "ab")
    )
    asked = ("--unit", "u", "--rater", "r", "--level", "l", "--levels", "NA,high")
    code, out, _ = run(capsys, "agree", path, *asked)
    assert code == 0
    assert "no_disagreement" in out
    assert "30 ratings" in out


BAD = [
    ("--unit nothing --rater who --level lev --levels 1,2,3", "no column 'nothing'"),
    ("--unit lesson --rater who --level nothing --levels 1,2,3", "no column 'nothing'"),
    ("--unit lesson --rater who --level lev --levels 1,2", "level '3' is not declared"),
    ("--unit site --rater who --level lev --levels 1,2,3", "row"),
    ("--unit lesson --rater who --level lev --levels 1,2,3 --cluster nothing", "no column 'nothing'"),
    ("--unit lesson --rater who --level lev --levels 1,2,3 --confidence 95", "confidence is 95"),
]


@pytest.mark.parametrize(("argv", "message"), BAD, ids=[argv for argv, _ in BAD])
def test_wrong_arguments_end_with_2_and_one_line(ratings, capsys, argv, message):
    code, out, err = run(capsys, "agree", ratings, *argv.split())
    assert (code, out) == (2, "")
    assert err.startswith("mentorstats: ")
    assert err.count("\n") == 1
    assert message in err


FILES = {
    "missing.csv": (None, "no such file"),
    "empty.csv": (b"", "empty"),
    "ratings.docx": (b"x", "not read"),
    "broken.xlsx": (b"PK\x03\x04 no", "cannot be read"),
    "old.xlsx": (bytes.fromhex("d0cf11e0a1b11ae1") + b"\0" * 600, "old XLS"),
    "broken.parquet": (b"PAR1 no", "Parquet"),
    "ragged.csv": (b"lesson,who,lev\no1,x,1\no2,x\n", "row 3 has 2 cells for 3 headings"),
    "twice.csv": (b"lesson,lesson,who,lev\no1,o1,x,1\n", "headed 'lesson'"),
    "semicolons.csv": (b"lesson;who;lev\no1;x;1\n", "--delimiter ';'"),
    "commas_too.csv": (b"lesson;who;lev\no1;x;1,5\n", "--delimiter ';'"),
    "tabs.csv": (b"lesson\twho\tlev\no1\tx\t1\n", "--delimiter tab"),
    "latin.csv": ("lesson,who,lev\nÉ,x,1\n".encode("latin-1"), "line 2 is not utf-8"),
}


@pytest.mark.parametrize("name", FILES)
def test_files_that_cannot_be_read_end_with_2_and_one_line(tmp_path, capsys, name):
    content, message = FILES[name]
    if content is not None:
        (tmp_path / name).write_bytes(content)
    code, out, err = run(capsys, "agree", tmp_path / name, *AGREE)
    assert (code, out) == (2, "")
    assert message in err
    assert name in err
    assert err.count("\n") == 1


def test_an_encrypted_workbook_says_that_it_is(ratings, tmp_path, capsys):
    path = tmp_path / "secret.xlsx"
    pd.read_csv(ratings).to_excel(path, index=False)
    encrypt(path)
    code, out, err = run(capsys, "agree", path, *AGREE)
    assert (code, out) == (2, "")
    assert err == "mentorstats: secret.xlsx: the workbook is encrypted. Save it without a password.\n"


def test_the_rater_who_rated_twice_is_named_by_row(ratings, capsys):
    ratings.write_text(f"{RATINGS}\no3,x,1,N\n")
    code, _, err = run(capsys, "agree", ratings, *AGREE)
    assert code == 2
    assert "82" in err


def test_a_workbook_with_several_sheets_asks_which(ratings, tmp_path, capsys):
    table = pd.read_csv(ratings)
    with pd.ExcelWriter(tmp_path / "two.xlsx") as book:
        table.to_excel(book, sheet_name="one", index=False)
        table.to_excel(book, sheet_name="other", index=False)
    code, _, err = run(capsys, "agree", tmp_path / "two.xlsx", *AGREE)
    assert code == 2
    assert "one, other" in err
    assert "Name one" in err
    assert run(capsys, "agree", tmp_path / "two.xlsx", *AGREE, "--sheet", "other")[0] == 0


@pytest.mark.parametrize(
    "argv",
    [
        (),
        ("unknown",),
        ("agree", "file.csv"),
        ("agree", "file.csv", *AGREE, "--weights", "heavy"),
        ("agree", "file.csv", *AGREE, "--out", "table.doc"),
        ("agree", "file.csv", *AGREE, "--cluster", "a,,b"),
        ("agree", "file.csv", *AGREE, "--figure", "figure.jpg"),
        ("agree", "file.csv", *AGREE, "--interval", "wald"),
        ("agree", "file.csv", *AGREE, "--delimiter", "tabs"),
    ],
)
def test_usage_errors_end_with_2(capsys, argv):
    with pytest.raises(SystemExit) as ended:
        cli.main(argv)
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "usage:" in said.err


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("reprot", "x", "y"), "no command 'reprot'. Did you mean report?"),
        (("agree", "f.csv", "--unitt", "a"), "no option '--unitt'. Did you mean --unit?"),
        (("report", "x", "y", "--ouut=3"), "no option '--ouut'. Did you mean --out?"),
        (
            ("agree", "f.csv", *AGREE, "--weights", "quadratc"),
            "no choice 'quadratc'. Did you mean quadratic?",
        ),
        (("report", "a", "b", "c"), "unrecognized arguments: c"),
    ],
)
def test_a_misspelt_word_is_the_one_that_is_named(capsys, argv, words):
    with pytest.raises(SystemExit):
        cli.main(argv)
    assert words in capsys.readouterr().err


def test_version_and_help_go_to_standard_output(capsys):
    for argv, words in (
        (["--version"], __version__),
        (["--help"], "agree"),
        (["agree", "--help"], "--levels"),
    ):
        with pytest.raises(SystemExit) as ended:
            cli.main(argv)
        assert ended.value.code == 0
        assert words in capsys.readouterr().out


def test_a_misspelt_report_and_one_after_its_folder(tmp_path, capsys):
    _, _, err = run(capsys, "report", "rater-calibraton", tmp_path)
    assert "Did you mean rater-calibration?" in err
    _, _, err = run(capsys, "report", tmp_path, "rater-calibration")
    assert "comes before the folder" in err


def test_names_of_people_stop_a_report_and_a_plan_unless_they_are_codes(programme, tmp_path, capsys):
    folder = shutil.copytree(programme, tmp_path / "named", ignore=shutil.ignore_patterns("reports"))
    raters = pd.read_csv(folder / "raters.csv", dtype=str)
    code = raters["rater"].iloc[0]
    for path in folder.glob("*.csv"):
        path.write_text(path.read_text().replace(code, "Linnet Quill"))
    for asked in (("report", "rater-calibration", folder), ("plan", folder)):
        code, out, err = run(capsys, *asked)
        assert (code, out) == (1, "")
        assert "--names-are-codes" in err
        assert "Quill" not in err
    assert not (folder / "reports").exists()
    code, _, err = run(capsys, "check", folder)
    assert "look like names of people" in err
    assert run(capsys, "plan", folder, "--raters", "1", "--visits", "2", "--names-are-codes")[0] == 0


def test_an_unknown_report_names_those_there_are(tmp_path, capsys):
    code, out, err = run(capsys, "report", "league-table", tmp_path, "--out", tmp_path)
    assert (code, out) == (2, "")
    assert "rater-calibration" in err


def broken(error):
    def command(_):
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (KeyboardInterrupt(), 130, "interrupted"),
        (NothingUsableError("no rating is left", where="folder"), 1, "folder: no rating is left"),
        (ZeroDivisionError("division by zero"), 3, "ZeroDivisionError: division by zero"),
    ],
)
def test_whatever_ends_a_command_has_its_exit_code(monkeypatch, ratings, capsys, error, code, words):
    monkeypatch.setattr(estimates, "agree", broken(error))
    ended, out, err = run(capsys, "agree", ratings, *AGREE)
    assert (ended, out) == (code, "")
    assert words in err
    assert "Traceback" not in err
    assert err.count("\n") == 1


def test_debug_shows_where_a_defect_happened(monkeypatch, ratings, capsys):
    monkeypatch.setattr(estimates, "agree", broken(ZeroDivisionError("oh")))
    code, _, err = run(capsys, "--debug", "agree", ratings, *AGREE)
    assert code == 3
    assert "Traceback" in err
    assert "in command" in err


def shell(*argv):
    code = "import sys; from mentorstats.cli import main; sys.exit(main())"
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, argv)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_a_reader_that_closes_early_is_no_error(ratings):
    running = shell("agree", ratings, *AGREE, "--interval", "none")
    running.stdout.close()
    assert running.wait() == 0
    assert running.stderr.read() == ""
    running.stderr.close()


def test_help_loads_nothing_heavy():
    loaded = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", "from mentorstats.cli import main; main(['--help'])"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert loaded.stdout.startswith("usage: mentorstats")
    for heavy in ("numpy", "pandas", "matplotlib", "pyarrow", "jinja2"):
        assert f" {heavy}\n" not in loaded.stderr


@pytest.fixture(scope="module")
def programme(demo_folder):
    """Return the folder that ``mentorstats demo`` writes."""
    return demo_folder


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Return the exports of a small programme, whose report takes a few seconds."""
    folder = tmp_path_factory.mktemp("small") / "programme"
    folder.mkdir()
    any_programme.write_small(folder)
    return folder


@pytest.fixture
def folder(programme, tmp_path):
    """Return a copy of it to spoil."""
    copy = tmp_path / "copy"
    shutil.copytree(programme, copy)
    shutil.rmtree(copy / "reports")
    return copy


def edit(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_the_demo_may_be_run_again(programme, tmp_path, capsys, monkeypatch):
    """With an analysis that does next to nothing: that of the demo is the next test's."""
    again = shutil.copytree(programme, tmp_path / "again")
    page = again / "reports" / "rater-calibration.html"
    monkeypatch.setattr(report_run, "find", lambda name: quick)
    code, out, err = run(capsys, "demo", again, "--date", "2026-09-01")
    assert code == 0
    assert out.splitlines()[0] == str(page)
    assert "faulty entries were set aside" in err
    assert page.read_bytes() != (programme / "reports" / "rater-calibration.html").read_bytes()
    for path in programme.glob("*.*"):
        if path.name != ".written-by-demo.json":
            assert (again / path.name).read_bytes() == path.read_bytes()


def quick(records, policy, *, seed=0, given=None, on=None):
    return Report(
        name="rater-calibration",
        title="Nothing asked",
        period="no period",
        sections=(),
        provenance=provenance.of(records.sources, policy, seeds={}),
    )


def test_report_writes_the_same_page_as_the_demo(programme, tmp_path, capsys):
    asked = ("report", "rater-calibration", programme, "--out", tmp_path / "out", "--date", "2026-09-01")
    code, out, err = run(capsys, *asked)
    page = tmp_path / "out" / "rater-calibration.html"
    assert code == 0
    assert out.splitlines()[0] == str(page)
    assert "set aside" in err
    assert page.read_bytes() == (programme / "reports" / "rater-calibration.html").read_bytes()


def test_certificates_are_looked_at_on_the_day_asked_for(small, tmp_path, capsys):
    asked = ("report", "rater-calibration", small, "--out", tmp_path, "--as-of", "2027-01-01")
    assert run(capsys, *asked)[0] == 0
    assert "On 2027-01-01, certification was current for" in (tmp_path / "rater-calibration.html").read_text()
    code, _, err = run(capsys, *asked[:-1], "soon")
    assert (code, "not a day" in err) == (2, True)


def test_the_analysis_runs_as_a_script_and_writes_the_same_page(small, tmp_path, capsys):
    command, script = tmp_path / "command", tmp_path / "script"
    day = ("--date", "2026-09-01")
    assert run(capsys, "report", "rater-calibration", small, "--out", command, *day)[0] == 0
    done = subprocess.run(
        [sys.executable, ROOT / "analyses" / "rater_calibration.py", small, "--out", script, *day],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert (done.stdout, done.stderr) == ("", "")
    for name in ("rater-calibration.html", "rater-calibration-appendix.html"):
        assert (script / name).read_bytes() == (command / name).read_bytes()


def test_a_script_ends_as_the_command_does(tmp_path):
    script = ROOT / "analyses" / "rater_calibration.py"
    done = subprocess.run(
        [sys.executable, script, tmp_path / "nowhere", "--out", tmp_path],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 2
    assert "nowhere" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_flow_of_ratings_adds_up(programme):
    loaded = records.load(programme)
    sources = loaded.sources[loaded.sources["table"] == "ratings"]
    assert sources["rows_kept"].sum() == len(loaded.long())
    assert (sources["rows_read"] - sources["rows_set_aside"]).equals(sources["rows_kept"])


def test_check_lists_every_fault_and_ends_with_1(programme, tmp_path, capsys):
    code, out, err = run(capsys, "check", programme)
    loaded = records.load(programme)
    found, odd = loaded.problems, loaded.oddities()
    assert (code, err) == (1, "")
    assert f"{len(found):,} entries" in out
    for file in found["file"].unique():
        assert file in out
    code, out, err = run(capsys, "check", programme, "--out", tmp_path / "faults.csv")
    assert (code, out) == (1, "")
    assert len(pd.read_csv(tmp_path / "faults.csv")) == len(found) + len(odd)


def plain_folder(folder):
    """Write exports that carry our own names, without a fault."""
    folder.mkdir()
    (folder / "rubrics.csv").write_text(
        "rubric,version,criterion,level,rank,label\n"
        + "".join(f"r,1,k,{level},{level},Level {level}\n" for level in (1, 2, 3))
    )
    (folder / "placements.csv").write_text(
        "placement,candidate,mentor,supervisor,site,cohort,licensure_area,grade_band,start,end,status\n"
        + "".join(
            f"p{n},c{n},m{n},s{n},Moss,2025,art,lower,2025-09-01,2025-12-19,completed\n" for n in range(12)
        )
    )
    (folder / "raters.csv").write_text(
        "rater,role\n"
        + "".join(f"{role[0]}{n},{role}\n" for n in range(12) for role in ("mentor", "supervisor"))
    )
    (folder / "observations.csv").write_text(
        "observation,placement,date\n" + "".join(f"o{n},p{n},2025-10-0{n % 9 + 1}\n" for n in range(12))
    )
    (folder / "ratings.csv").write_text(
        "observation,rater,rater_role,rubric,rubric_version,criterion,level,independent\n"
        + "".join(
            f"o{n},{role[0]}{n},{role},r,1,k,{(n + (role == 'mentor') * (n % 4 == 0)) % 3 + 1},yes\n"
            for n in range(12)
            for role in ("mentor", "supervisor")
        )
    )
    return folder


def test_check_of_faultless_records_ends_with_0(tmp_path, capsys):
    code, out, err = run(capsys, "check", plain_folder(tmp_path / "plain"))
    assert (code, err) == (0, "")
    assert out.endswith("\n\nNo fault was found.\n")
    assert "24 (12 as mentor, 12 as supervisor)" in out


def test_a_report_on_faultless_records_says_nothing_on_standard_error(tmp_path, capsys):
    folder = plain_folder(tmp_path / "plain")
    code, _, err = run(capsys, "report", "rater-calibration", folder, "--out", tmp_path / "out")
    assert (code, err) == (0, "")


def spoil_mapping(folder):
    edit(folder / "mapping.toml", 'file = "', 'file = "no_such_')


def spoil_key(folder):
    edit(folder / "mapping.toml", "[[source]]", "[[source]]\nsheeet = 1")


def spoil_toml(folder):
    edit(folder / "mapping.toml", "[[source]]", "[[source")


def spoil_workbook(folder):
    (folder / "quillmoor_2023-24.xlsx").write_bytes(b"PK\x03\x04 broken")


def encrypt(path):
    plain = io.BytesIO(path.read_bytes())
    with path.open("wb") as secret:
        OOXMLFile(plain).encrypt("secret", secret)


def encrypt_workbook(folder):
    encrypt(folder / "quillmoor_2023-24.xlsx")


def spoil_heading(folder):
    edit(folder / "ratings_2025-26.csv", "criterion", "criterium")


def spoil_study(folder):
    (folder / "study.toml").write_text('sampled = "by lot"\n')


def spoil_policy(folder):
    (folder / "policy.toml").write_text('[[rule]]\nid = "minimum_group_size"\nvalue = "ten"\n')


def empty(folder):
    shutil.rmtree(folder)
    folder.mkdir()


def remove(folder):
    shutil.rmtree(folder)


def spoil_every_level(folder):
    shutil.rmtree(folder)
    plain_folder(folder)
    ratings = pd.read_csv(folder / "ratings.csv", dtype="str")
    ratings.assign(level="superb").to_csv(folder / "ratings.csv", index=False)


SPOILED = {
    spoil_mapping: (2, "no_such_"),
    spoil_key: (2, "sheeet"),
    spoil_toml: (2, "mapping.toml"),
    spoil_workbook: (2, "quillmoor_2023-24.xlsx"),
    encrypt_workbook: (2, "encrypted"),
    spoil_heading: (2, "criterion"),
    spoil_policy: (2, "policy.toml"),
    spoil_study: (2, "'sampling'"),
    empty: (2, "no table"),
    remove: (2, "no such folder"),
    spoil_every_level: (1, "set aside"),
}


@pytest.mark.parametrize("spoil", SPOILED, ids=lambda spoil: spoil.__name__)
def test_bad_records_end_with_one_message_and_nothing_half_written(folder, tmp_path, capsys, spoil):
    spoil(folder)
    expected, words = SPOILED[spoil]
    code, out, err = run(capsys, "report", "rater-calibration", folder, "--out", tmp_path / "out")
    last = err.splitlines()[-1]
    assert (code, out) == (expected, "")
    assert last.startswith("mentorstats: ")
    assert words in last
    assert "Traceback" not in err
    assert not (tmp_path / "out").exists()


def test_plan_prints_the_choice_and_writes_the_table(tmp_path, capsys):
    from mentorstats.demo import write

    folder, out = tmp_path / "exports", tmp_path / "plans.csv"
    write(folder)
    picture = tmp_path / "plans.svg"
    asked = ("--raters", "1,2", "--visits", "2,3", "--out", out, "--figure", picture)
    code, printed, err = run(capsys, "plan", folder, *asked)
    assert code == 0
    assert "dependability" in printed
    assert "is enough to connect them" in printed
    assert "dependability of 0.80" in printed
    assert str(out) in err
    drawn = picture.read_text(encoding="utf-8")
    assert "wanted: 0.80" in drawn
    assert "2 raters" in drawn
    table = pd.read_csv(out)
    assert set(table["n_visits"]) == {2, 3, 4, 6}
    assert table["dependability"].between(0, 1).all()


@pytest.mark.parametrize("sizes", ["0", "1,x", "2,,3", "1.5"])
def test_plan_refuses_sizes_that_are_none(sizes, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(["plan", "folder", "--raters", sizes])
    assert ended.value.code == 2
    assert "--raters" in capsys.readouterr().err


def test_no_output_replaces_an_input_or_lies_among_the_exports(programme, capsys, tmp_path):
    before = {path: path.read_bytes() for path in programme.rglob("*") if path.is_file()}
    link = tmp_path / "link.csv"
    link.symlink_to(programme / "raters.csv")
    for argv in (
        ("check", programme, "--out", programme / "raters.csv"),
        ("check", programme, "--out", programme / "new.csv"),
        ("check", programme, "--out", link),
        ("plan", programme, "--figure", programme / "plans.png"),
        ("report", "rater-calibration", programme, "--out", programme),
    ):
        code, _, err = run(capsys, *argv)
        assert code == 2, argv
        assert "lies among the exports" in err
    table = tmp_path / "ratings.csv"
    table.write_text("lesson,rater,score\na,x,1\na,y,2\n")
    argv = ("agree", table, "--unit", "lesson", "--rater", "rater", "--level", "score", "--levels", "1,2")
    code, _, err = run(capsys, *argv, "--out", table)
    assert (code, "is the file that is read" in err) == (2, True)
    assert {path: path.read_bytes() for path in programme.rglob("*") if path.is_file()} == before


def test_a_place_that_cannot_be_written_is_found_before_the_work(programme, capsys, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("here")
    monkeypatch.setattr("mentorstats.records.load", lambda *_: pytest.fail("work was begun"))
    for argv in (
        ("report", "rater-calibration", programme, "--out", tmp_path / "file" / "out"),
        ("check", programme, "--out", tmp_path / "file" / "out.csv"),
    ):
        code, _, err = run(capsys, *argv)
        assert (code, "is not a folder" in err) == (2, True)


def test_what_data_could_do_to_a_terminal_is_shown(capsys, tmp_path):
    table = tmp_path / "ratings.csv"
    table.write_text(
        "lesson,rater,score,site\na,x,1,\x1b[2J\u202eMoss\na,y,2,\x1b[2J\u202eMoss\n", encoding="utf-8"
    )
    argv = ("agree", table, "--unit", "lesson", "--rater", "rater", "--level", "score", "--levels", "1,2")
    code, out, _ = run(capsys, *argv, "--by", "site")
    assert code == 0
    assert "\\x1b[2J\\u202eMoss" in out
    assert "\x1b" not in out
    code, _, err = run(capsys, *argv, "--by", "no \x1b[31m" + "very long " * 500)
    assert code == 2
    assert "\x1b" not in err
    assert len(err) < 2000
