"""Cox fits against published data sets; values and sources in reference_values/cox/checks.json."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_prediction import baseline
from ringland.survival.cox.cox_proportionality import proportionality_test
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.cox_residuals import (
    martingale_residuals,
    schoenfeld_residuals,
    score_residuals,
)

REFERENCE = Path(__file__).parents[1] / "reference_values" / "cox"
CHECKS = json.loads((REFERENCE / "checks.json").read_text(encoding="utf-8"))
ROSSI = ["fin", "age", "race", "wexp", "mar", "paro", "prio"]


def check(name: str) -> tuple[pl.DataFrame, dict[str, Any], float]:
    """Data, expected values and relative tolerance (where the printed digits end)."""
    entry = CHECKS[name]
    data = pl.read_csv(REFERENCE / entry["data"], null_values="NA")
    return data, entry["values"], entry["tolerance_rel"]


def from_zero(
    frame: pl.DataFrame, time: str, event: str, columns: list[str], **more: Any
) -> CoxFit:
    x = frame.select(columns).to_numpy()
    return fit_cox(np.zeros(len(frame)), frame[time], frame[event], x, names=columns, **more)


def counting(frame: pl.DataFrame, columns: list[str], **more: Any) -> CoxFit:
    x = frame.select(columns).to_numpy()
    return fit_cox(frame["start"], frame["stop"], frame["event"], x, names=columns, **more)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_d1_rossi_coefficients_errors_and_likelihoods(ties: str) -> None:
    frame, values, tolerance = check("D1")
    fit = from_zero(frame, "week", "arrest", ROSSI, ties=ties)
    np.testing.assert_allclose(fit.coef, values[f"{ties}.coef"], rtol=tolerance)
    np.testing.assert_allclose(fit.standard_errors, values[f"{ties}.se"], rtol=tolerance)
    logliks = [fit.loglik_null, fit.loglik]
    np.testing.assert_allclose(logliks, values[f"{ties}.loglik"], rtol=tolerance)


def test_d1_rossi_robust_errors_with_each_row_its_own_cluster() -> None:
    frame, values, tolerance = check("D1")
    fit = from_zero(frame, "week", "arrest", ROSSI, cluster=np.arange(len(frame)))
    np.testing.assert_allclose(fit.robust_errors, values["robust_se"], rtol=tolerance)


@pytest.mark.parametrize("transform", ["km", "identity", "log"])
def test_d2_score_form_of_the_proportional_hazards_test(transform: Any) -> None:
    frame, values, tolerance = check("D2")
    test = proportionality_test(from_zero(frame, "week", "arrest", ROSSI), transform=transform)
    expected = f"rossi.score_test.{transform}"
    chi2, p = [*test.chi2, test.global_chi2], [*test.p, test.global_p]
    np.testing.assert_allclose(chi2, values[f"{expected}.chisq"], rtol=tolerance)
    np.testing.assert_allclose(p, values[f"{expected}.p"], rtol=tolerance)


@pytest.mark.parametrize("transform", ["identity", "log"])
def test_d2_grambsch_therneau_1994_form_is_a_named_alternative(transform: Any) -> None:
    frame, values, tolerance = check("D2")
    fit = from_zero(frame, "week", "arrest", ROSSI)
    test = proportionality_test(fit, transform=transform, form="grambsch_therneau_1994")
    expected = values[f"rossi.GT1994_approx.{transform}.chisq"]
    np.testing.assert_allclose(test.chi2, expected, rtol=tolerance)


def test_d2_reduced_model_both_forms() -> None:
    frame, values, tolerance = check("D2")
    fit = from_zero(frame, "week", "arrest", ["fin", "age", "prio"])
    old = proportionality_test(fit, form="grambsch_therneau_1994")
    expected = values["rossi_reduced(fin,age,prio).GT1994.km.chisq"]
    np.testing.assert_allclose(old.chi2, expected, rtol=tolerance)
    new = proportionality_test(fit)
    stem = "rossi_reduced.score_test.km.chisq_then_global"
    expected = [values[f"{stem}[{j}](4dp)"] for j in range(4)]
    # printed to four places
    np.testing.assert_allclose([*new.chi2, new.global_chi2], expected, atol=5.1e-5)


HEART_MODELS = {
    "m1": ["age", "year", "surgery", "transplant"],
    "m2": ["age", "surgery", "transplant", "age_transplant", "surgery_transplant"],
    "m3": ["transplant"],
}


def stanford_heart() -> tuple[pl.DataFrame, dict[str, Any], float]:
    frame, values, tolerance = check("D4")
    frame = frame.with_columns(
        age_transplant=pl.col("age") * pl.col("transplant"),
        surgery_transplant=pl.col("surgery") * pl.col("transplant"),
    )
    return frame, values, tolerance


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("model", HEART_MODELS)
def test_d4_stanford_heart_with_changing_transplant(model: str, ties: str) -> None:
    frame, values, tolerance = stanford_heart()
    fit = counting(frame, HEART_MODELS[model], ties=ties)
    stem = f"{model}.{ties}"
    np.testing.assert_allclose(fit.coef, np.atleast_1d(values[f"{stem}.coef"]), rtol=tolerance)
    np.testing.assert_allclose(
        fit.standard_errors, np.atleast_1d(values[f"{stem}.se"]), rtol=tolerance
    )
    np.testing.assert_allclose(fit.loglik, values[f"{stem}.loglik"], rtol=tolerance)


def test_d4_only_the_naive_fit_gives_the_immortal_time_answer() -> None:
    frame, values, tolerance = stanford_heart()
    wrong = values["WRONG_naive_fixed_transplant.coef"]
    assert abs(counting(frame, ["transplant"]).coef[0] - wrong) > 1
    # the wrong answer comes from carrying the later transplant back to the start
    naive = frame.group_by("id").agg(
        pl.col("stop").max(), pl.col("event").max(), pl.col("transplant").max()
    )
    fit = from_zero(naive, "stop", "event", ["transplant"])
    np.testing.assert_allclose(fit.coef, [wrong], rtol=tolerance)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_d5_closed_form_of_six_rows(ties: str) -> None:
    frame, values, tolerance = check("D5")
    fit = from_zero(frame, "time", "status", ["x"], ties=ties)
    expected = {name.removeprefix(f"{ties}."): value for name, value in values.items()}
    close = {"rtol": tolerance, "atol": 1e-9}  # some residuals are exactly zero
    np.testing.assert_allclose(fit.coef[0], expected["beta"], **close)
    np.testing.assert_allclose([fit.loglik_null, fit.loglik], expected["loglik"], **close)
    np.testing.assert_allclose(1 / fit.covariance[0, 0], expected["info"], **close)
    np.testing.assert_allclose(martingale_residuals(fit), expected["martingale"], **close)
    np.testing.assert_allclose(score_residuals(fit)[:, 0], expected["score_resid"], **close)
    np.testing.assert_allclose(schoenfeld_residuals(fit)[1][:, 0], expected["schoenfeld"], **close)
    base = baseline(fit)
    at_zero = base.cumulative_hazard * np.exp(-fit.coef[0] * base.centre[0])
    at_each_time = at_zero[np.searchsorted(base.time, [1, 6, 8, 9], side="right") - 1]
    np.testing.assert_allclose(at_each_time, expected["H0"], **close)


@pytest.mark.parametrize(("stem", "ties"), [("AG", "efron"), ("AG_breslow", "breslow")])
def test_d8_repeated_events_with_patient_clusters(stem: str, ties: str) -> None:
    frame, values, tolerance = check("D8")
    fit = counting(frame, ["rx", "size", "number"], cluster=frame["id"], ties=ties)
    coef = "AG.coef(rx,size,number)" if stem == "AG" else f"{stem}.coef"
    np.testing.assert_allclose(fit.coef, values[coef], rtol=tolerance)
    np.testing.assert_allclose(fit.robust_errors, values[f"{stem}.robust_se"], rtol=tolerance)
    if stem == "AG":
        np.testing.assert_allclose(fit.standard_errors, values["AG.naive_se"], rtol=tolerance)


def test_d10_litters_as_clusters() -> None:
    frame, values, tolerance = check("D10")
    frame = frame.filter(pl.col("sex") == "f")
    fit = from_zero(frame, "time", "status", ["rx"], cluster=frame["litter"])
    np.testing.assert_allclose(fit.coef, values["rats_female.coef"], rtol=tolerance)
    np.testing.assert_allclose(fit.standard_errors, values["rats_female.naive_se"], rtol=tolerance)
    np.testing.assert_allclose(fit.robust_errors, values["rats_female.robust_se"], rtol=tolerance)


@pytest.mark.parametrize(("cause", "code"), [("pcm", 1), ("death", 2)])
def test_c2_cause_specific_hazards_censor_the_other_cause(cause: str, code: int) -> None:
    frame, values, tolerance = check("C2")
    frame = frame.drop_nulls("mspike").with_columns(
        is_male=pl.col("sex") == "M", failed=pl.col("ev") == code
    )
    assert len(frame) == values["n_used"]
    fit = from_zero(frame, "etime", "failed", ["age", "is_male", "mspike"])
    np.testing.assert_allclose(fit.coef, values[f"{cause}.coef_age_sexM_mspike"], rtol=tolerance)
    np.testing.assert_allclose(fit.standard_errors, values[f"{cause}.se"], rtol=tolerance)
    if cause == "pcm":
        assert fit.n_events == values["n_event_pcm"]
