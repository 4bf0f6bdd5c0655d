import pandas as pd

from mentorstats.report.columns import Kind, carried, counted, group, statistic, text, verdict


def test_what_goes_along_with_a_result_is_carried() -> None:
    source = pd.DataFrame(
        {"value": [0.5], "value_low": [0.1], "value_high": [0.9], "other": [2.0], "status": ["ok"]}
    )
    made = carried(source, {"value": "kappa", "other": "shift"})
    assert list(made) == ["kappa", "kappa_low", "kappa_high", "kappa_status", "shift", "shift_status"]
    own = carried(source.assign(value_status="boundary"), {"value": "kappa"})
    assert own["kappa_status"].tolist() == ["boundary"]


def test_kinds_say_what_is_a_number_and_what_a_small_group_loses() -> None:
    made = [
        group("a", "A"),
        counted("b", "B"),
        statistic("c", "C", "share"),
        verdict("d", "D"),
        text("e", "E"),
    ]
    assert [column.numeric for column in made] == [False, True, True, False, False]
    assert [column.blanked for column in made] == [False, False, True, True, False]
    assert made[2].unit == "share"
    assert made[3].kind is Kind.VERDICT
