"""The parameters of the estimator, checked: all that is wrong at once, each with its value and the rule."""

from __future__ import annotations

import numbers
from typing import Any, get_args

import joblib
import numpy as np

from wellrecords.interpolation.covariance import KINDS, Covariance
from wellrecords.interpolation.distribution import Transform


def check_settings(model: Any) -> None:
    """Check the parameters of an `IntervalKriging`.

    Raises
    ------
    ValueError
        Naming each parameter that is wrong, the value found and the rule.
    """
    shapes = ("auto", *KINDS)
    known = isinstance(model.covariance, Covariance) or _is_one_of(model.covariance, shapes)
    faults = [
        _transform_fault(model.transform),
        None if known else f"covariance must be one of {', '.join(shapes)} or a Covariance; got {model.covariance!r}.",
        _whole_fault("n_neighbours", model.n_neighbours, 1),
        _whole_fault("n_trees", model.n_trees, 0),
        None
        if _is_number(model.block_m) and model.block_m >= 0
        else f"block_m must be a finite number of metres, 0 or more; got {model.block_m!r}.",
        None
        if _is_stretch(model.anisotropy)
        else f'anisotropy must be "auto", None or (ratio, angle in degrees), two finite numbers, the ratio above 0; '
        f"got {model.anisotropy!r}.",
        None
        if _is_trend(model.trend)
        else f'trend must be "auto", None or a scikit-learn regressor, made (LinearRegression(), not '
        f"LinearRegression); got {model.trend!r}.",
        None
        if model.known_mean is None or _is_number(model.known_mean)
        else f"known_mean must be a finite number on the transformed scale, or None; got {model.known_mean!r}.",
        _seed_fault(model.random_state),
        _jobs_fault(model.n_jobs),
    ]
    told = [fault for fault in faults if fault is not None]
    if told:
        raise ValueError("\n".join(told))


def threads(n_jobs: int | None) -> int:
    """Return how many threads `n_jobs` stands for: None is 1, -1 all cores, -2 all but one."""
    return int(n_jobs) if n_jobs is not None and n_jobs > 0 else int(joblib.effective_n_jobs(n_jobs))


def check_transform(transform: object) -> None:
    """Refuse a transform that is not known.

    Raises
    ------
    ValueError
    """
    fault = _transform_fault(transform)
    if fault is not None:
        raise ValueError(fault)


def _transform_fault(transform: object) -> str | None:
    known = get_args(Transform)
    return None if _is_one_of(transform, known) else f"transform must be one of {known}; got {transform!r}."


def _whole_fault(name: str, value: object, least: int) -> str | None:
    whole = isinstance(value, numbers.Integral) and not isinstance(value, (bool, np.bool_))
    if whole and int(value) >= least:  # type: ignore[call-overload]
        return None
    return f"{name} must be a whole number of at least {least}; got {value!r}."


def _jobs_fault(value: object) -> str | None:
    if value is None or (_whole_fault("n_jobs", value, -1_000_000) is None and value != 0):
        return None
    return f"n_jobs must be a whole number of threads, -1 for all cores or None for one; got {value!r}."


def _seed_fault(value: Any) -> str | None:
    try:
        np.random.default_rng(value)
    except (TypeError, ValueError):
        return f"random_state must be a whole number of 0 or more, a numpy Generator or None; got {value!r}."
    return None


def _is_one_of(value: object, words: tuple[str, ...]) -> bool:
    return isinstance(value, str) and value in words


def _is_number(value: object) -> bool:
    real = isinstance(value, numbers.Real) and not isinstance(value, (bool, np.bool_))
    return real and bool(np.isfinite(float(value)))  # type: ignore[arg-type]


def _is_stretch(value: object) -> bool:
    if value is None or _is_one_of(value, ("auto",)):
        return True
    two = isinstance(value, (tuple, list, np.ndarray)) and len(value) == 2
    return two and all(_is_number(one) for one in value) and value[0] > 0  # type: ignore[attr-defined,index]


def _is_trend(value: object) -> bool:
    made = not isinstance(value, type) and hasattr(value, "fit") and hasattr(value, "predict")
    return value is None or _is_one_of(value, ("auto",)) or made
