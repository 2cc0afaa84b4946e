"""Covariates: known numbers and classes of every place, turned into columns of numbers, the same in fit and predict.

What a model was fitted with is kept as `CovariateColumns`. A table at predict
is matched by column names, never by position, and whatever does not match is
refused: a covariate read as 0 because its name was spelt otherwise would move
every figure without a word.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from wellrecords.interpolation.covariance import FloatArray

SHOWN = 5  # names or values of a fault that a sentence holds


@dataclass(frozen=True)
class CovariateColumns:
    """The covariates of a fit.

    Parameters
    ----------
    matrix_names : tuple of str
        A name for each column of the matrix; empty where an array was given.
    table_kinds : dict of str to {"number", "class"}
        What each column of the table held; empty where an array was given.
    count : int
        Columns of the matrix.
    """

    matrix_names: tuple[str, ...]
    table_kinds: dict[str, str]
    count: int


def learn_covariates(covariates: object, rows: int) -> tuple[FloatArray, CovariateColumns]:
    """Turn the covariates of a fit into a matrix.

    Parameters
    ----------
    covariates : array-like of shape (n,) or (n, c), Series or DataFrame
        Numbers; in a table also classes (text, categorical), which become
        one column a class. Text of numbers is a class; objects that are all
        numbers are numbers.
    rows : int
        Wells of the fit.

    Returns
    -------
    matrix : ndarray of shape (n, columns)
    columns : CovariateColumns

    Raises
    ------
    ValueError
        No column, rows that do not match, names that occur twice, dates, or
        a value missing or infinite.
    """
    if not isinstance(covariates, (pd.DataFrame, pd.Series)):
        matrix = _array(covariates, rows)
        return matrix, CovariateColumns((), {}, matrix.shape[1])
    table = _table(covariates, rows)
    kinds = {name: _kind(table[name], name) for name in table}
    table = _numbered(table, kinds)
    dummies = pd.get_dummies(table, columns=[name for name in table if kinds[name] == "class"], dtype=float)
    _refuse_twins(dummies.columns)
    matrix = dummies.to_numpy(dtype=float)
    _refuse_unknown_numbers(matrix, list(dummies.columns))
    return matrix, CovariateColumns(tuple(dummies.columns), kinds, matrix.shape[1])


def match_covariates(covariates: object, rows: int, columns: CovariateColumns | None) -> FloatArray | None:
    """Turn covariates at predict into a matrix with the columns of the fit.

    Parameters
    ----------
    covariates : array-like, Series, DataFrame or None
        A table is matched by name: its columns may stand in any order, and
        further ones are left aside. A class that the fit has not seen
        counts as none of its classes. An array is matched by position, and
        so is a table without names (0, 1, 2, ...) for a fit to an array.
    rows : int
        Places asked.
    columns : CovariateColumns or None
        Of the fit; None where it had no covariates.

    Returns
    -------
    ndarray of shape (m, columns.count), or None where the fit had none

    Raises
    ------
    ValueError
        Covariates missing or not wanted, a column of the fit that is
        missing or holds another kind, rows that do not match, or a value
        missing or infinite.
    """
    if covariates is None:
        if columns is None:
            return None
        msg = f"The model was fitted with {columns.count} covariate columns; predict needs them too."
        raise ValueError(msg)
    if columns is None:
        msg = "covariates were given, but the model was fitted without any: fit it with them, or leave them out here."
        raise ValueError(msg)
    if isinstance(covariates, (pd.DataFrame, pd.Series)):
        return _match_table(_table(covariates, rows), columns)
    if "class" in columns.table_kinds.values():
        msg = (
            f"The model was fitted with the covariate columns {_list(columns.table_kinds)}, some of them classes; "
            "predict needs a DataFrame with these columns, not an array."
        )
        raise ValueError(msg)
    matrix = _array(covariates, rows)
    if matrix.shape[1] != columns.count:
        msg = f"covariates have {matrix.shape[1]} columns; the model was fitted with {columns.count}."
        raise ValueError(msg)
    return matrix


def _match_table(table: pd.DataFrame, columns: CovariateColumns) -> FloatArray:
    if not columns.table_kinds:
        if list(table.columns) != [str(number) for number in range(columns.count)]:
            msg = (
                f"The model was fitted with an array of {columns.count} covariates, which has no names to match "
                f"{_list(table.columns)} by; give an array in the order of the fit, or fit with a DataFrame."
            )
            raise ValueError(msg)
        kinds = dict.fromkeys(table.columns, "number")
    else:
        kinds = columns.table_kinds
    missing = [name for name in kinds if name not in table.columns]
    if missing:
        msg = (
            f"covariates lack {len(missing)} of the {len(kinds)} columns of the fit: {_list(missing)}; "
            f"got {_list(table.columns)}. Give every column of the fit under its own name."
        )
        raise ValueError(msg)
    table = table[list(kinds)]
    faults = []
    for name, kind in kinds.items():
        found = _kind(table[name], name)
        if found != kind:
            words = {"number": "numbers", "class": "text or categories"}
            faults.append(f"covariate {name!r} held {words[kind]} in the fit and holds {words[found]} here")
    if faults:
        raise ValueError("; ".join(faults) + ". Convert it as for the fit.")
    table = _numbered(table, kinds)
    dummies = pd.get_dummies(table, columns=[name for name in table if kinds[name] == "class"], dtype=float)
    if columns.matrix_names:
        # Only columns of classes can be absent here: those that no place asked belongs to.
        dummies = dummies.reindex(columns=list(columns.matrix_names), fill_value=0.0)
    matrix = dummies.to_numpy(dtype=float)
    _refuse_unknown_numbers(matrix, list(dummies.columns))
    return matrix


def _table(covariates: pd.DataFrame | pd.Series, rows: int) -> pd.DataFrame:
    """Return the table with text for names, checked for its rows, its names and missing classes."""
    table = covariates.to_frame() if isinstance(covariates, pd.Series) else covariates
    table = table.set_axis([str(name) for name in table.columns], axis=1)
    _refuse_twins(table.columns)
    _refuse_shape(table.shape, rows)
    missing = table.isna()
    if missing.to_numpy().any():
        name = missing.columns[missing.any()][0]
        row = int(np.argmax(missing[name].to_numpy()))
        told = int(missing.any(axis=1).sum())
        msg = (
            f"a covariate is missing in {told} of {rows} rows, the first in row {row}, column {name!r}; "
            "fill it or leave the place out."
        )
        raise ValueError(msg)
    return table


def _kind(column: pd.Series, name: str) -> str:
    """Whether a column holds numbers or classes."""
    kind = pd.api.types
    if kind.is_datetime64_any_dtype(column) or kind.is_timedelta64_dtype(column) or kind.is_complex_dtype(column):
        msg = f"covariate {name!r} holds {column.dtype}; turn it into numbers (years, days) or classes."
        raise ValueError(msg)
    if isinstance(column.dtype, pd.CategoricalDtype):
        return "class"
    if kind.is_numeric_dtype(column) or kind.is_bool_dtype(column):
        return "number"
    if kind.is_object_dtype(column) and len(column) and column.map(kind.is_number).all():
        return "number"
    return "class"


def _numbered(table: pd.DataFrame, kinds: dict[str, str]) -> pd.DataFrame:
    """Return the table with numbers kept as objects, or as nullable ones, made plain."""
    plain = {name: table[name].astype(float) for name in table if kinds[name] == "number"}
    return table.assign(**plain) if plain else table


def _array(covariates: object, rows: int) -> FloatArray:
    try:
        matrix = np.asarray(covariates, dtype=float)
    except (TypeError, ValueError) as error:
        msg = (
            "covariates hold what is no number; give numbers, or a DataFrame whose text columns are classes "
            f"({type(covariates).__name__}: {error})."
        )
        raise ValueError(msg) from error
    matrix = matrix[:, None] if matrix.ndim == 1 else matrix
    _refuse_shape(matrix.shape, rows)
    _refuse_unknown_numbers(matrix, list(range(matrix.shape[1])))
    return matrix


def _refuse_shape(shape: tuple[int, ...], rows: int) -> None:
    if len(shape) != 2:
        msg = f"covariates must have shape ({rows}, columns), one row a place; got shape {shape}."
        raise ValueError(msg)
    if shape[0] != rows:
        msg = f"covariates must have one row a place: got {shape[0]} rows for {rows} places."
        raise ValueError(msg)
    if shape[1] == 0:
        msg = "covariates have no column; give at least one, or None for no covariates."
        raise ValueError(msg)


def _refuse_twins(names: pd.Index) -> None:
    twins = names[names.duplicated()].unique()
    if len(twins):
        msg = f"covariates have several columns of the same name: {_list(twins)}; rename or drop them."
        raise ValueError(msg)


def _refuse_unknown_numbers(matrix: FloatArray, names: list[object]) -> None:
    bad = ~np.isfinite(matrix)
    if bad.any():
        row = int(np.argmax(bad.any(axis=1)))
        column = int(np.argmax(bad[row]))
        msg = (
            f"a covariate is NaN or infinite in {bad.any(axis=1).sum()} of {len(matrix)} rows, the first in row {row}, "
            f"column {names[column]!r}; fill it or leave the place out."
        )
        raise ValueError(msg)


def _list(names: object) -> str:
    told = [repr(str(name)) for name in names]  # type: ignore[attr-defined]
    return ", ".join(told[:SHOWN]) + (f" and {len(told) - SHOWN} more" if len(told) > SHOWN else "")
