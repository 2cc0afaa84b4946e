from pathlib import Path

import numpy as np
import pytest

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="session")
def reference():
    return REFERENCE


@pytest.fixture(scope="session")
def field():
    """400 places of a Gaussian field (sill 0.3, range 5 km, nugget 0.1, mean 4) on the log scale."""
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 20_000, (400, 2)) + 500_000
    distance = np.hypot(*(xy[:, None] - xy[None]).T)
    covariance = 0.3 * np.exp(-distance / 5_000) + 0.1 * np.eye(400)
    return xy, np.exp(4 + np.linalg.cholesky(covariance) @ rng.normal(size=400))
