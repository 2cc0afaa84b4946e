"""Prices made from a distribution of cost, and what they risk.

All functions take the costs of the draws and no other model: a chance is a
share of draws.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike


def chance_of_loss(cost_usd: np.ndarray, price_usd: ArrayLike) -> np.ndarray:
    """Return the share of draws that cost more than the price.

    Parameters
    ----------
    cost_usd : ndarray of shape (n,)
    price_usd : array-like of shape (k,) or scalar

    Returns
    -------
    ndarray of shape (k,) or scalar
    """
    ordered = np.sort(cost_usd)
    not_above = np.searchsorted(ordered, np.asarray(price_usd, dtype=float), side="right")
    return (ordered.size - not_above) / ordered.size


def expected_loss_usd(cost_usd: np.ndarray, price_usd: ArrayLike) -> np.ndarray:
    """Return the mean of max(cost - price, 0).

    Parameters
    ----------
    cost_usd : ndarray of shape (n,)
    price_usd : array-like of shape (k,) or scalar

    Returns
    -------
    ndarray of shape (k,) or scalar
    """
    price = np.asarray(price_usd, dtype=float)
    return np.maximum(np.asarray(cost_usd)[:, None] - price.reshape(1, -1), 0.0).mean(axis=0).reshape(price.shape)


def price_at_risk(cost_usd: np.ndarray, risk: float) -> float:
    """Return the least price whose chance of loss is at most the risk.

    It is the cost of one of the draws: their (1 - risk) quantile, not
    interpolated. Its tail mean follows from the two functions above: the mean
    cost of the losing draws is price + expected loss / chance of loss.

    Parameters
    ----------
    cost_usd : ndarray of shape (n,)
    risk : float
        Between 0 and 1.

    Returns
    -------
    float
    """
    return float(np.quantile(cost_usd, 1.0 - risk, method="inverted_cdf"))


def price_table(cost_usd: np.ndarray, prices_usd: ArrayLike) -> pd.DataFrame:
    """Return what each of several fixed prices risks and earns.

    Parameters
    ----------
    cost_usd : ndarray of shape (n,)
    prices_usd : array-like of shape (k,)

    Returns
    -------
    DataFrame, k rows
        `price_usd`, `chance_of_loss`, `expected_loss_usd`,
        `expected_profit_usd`.
    """
    price = np.atleast_1d(np.asarray(prices_usd, dtype=float))
    return pd.DataFrame(
        {
            "price_usd": price,
            "chance_of_loss": chance_of_loss(cost_usd, price),
            "expected_loss_usd": expected_loss_usd(cost_usd, price),
            "expected_profit_usd": price - np.mean(cost_usd),
        }
    )


def per_foot_price_usd(depth_ft: np.ndarray, wanted_usd: float, minimum_usd: float) -> float:
    """Return the price a foot at which the expected bill is the wanted sum.

    The bill is max(minimum, price times depth). For any k, the mean bill is at
    least what the k deepest holes bring by the foot and the others by the
    minimum, and for the right k it is just that: so the price is the least of
    those that the k = 1 to n would ask.

    Parameters
    ----------
    depth_ft : ndarray of shape (n,)
        Drilled depth, above 0.
    wanted_usd : float
        Expected cost with the margin.
    minimum_usd : float
        Least charge.

    Returns
    -------
    float
        0 where the minimum alone brings in the wanted sum.
    """
    if wanted_usd <= minimum_usd:
        return 0.0
    deepest = np.cumsum(np.sort(depth_ft)[::-1])
    by_minimum = np.arange(depth_ft.size - 1, -1, -1) * minimum_usd
    return float(np.min((wanted_usd * depth_ft.size - by_minimum) / deepest))
