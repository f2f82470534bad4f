"""How many figures of a number are worth telling: two of its uncertainty, and the value as far as those go."""

from __future__ import annotations

import numpy as np

#: No number is told with more decimals than these.
_MOST_DECIMALS = 6
#: Decimals of a value whose uncertainty is nothing, or not known.
_PLAIN_DECIMALS = 3


def decimals_of(uncertainty: float) -> int:
    """Return the decimals that show two figures of an uncertainty.

    Examples
    --------
    >>> [decimals_of(each) for each in (12.3, 0.31, 0.0042, 0.0)]
    [0, 2, 4, 3]
    """
    if not uncertainty > 0.0 or not np.isfinite(uncertainty):
        return _PLAIN_DECIMALS
    return int(np.clip(1 - np.floor(np.log10(uncertainty)), 0, _MOST_DECIMALS))


def two_figures(value: float) -> str:
    """Return an uncertainty with two figures, or a dash where it is not known."""
    if not np.isfinite(value):
        return "–"
    return "0" if value == 0.0 else f"{value:.{decimals_of(value)}f}"


def with_uncertainty(value: float, about: float, decimals: int | None = None) -> str:
    """Return a value with its plus-minus, both to the plus-minus's second figure; a dash where there is no value.

    Parameters
    ----------
    value, about : float
        The value and half the width of its interval; NaN where it is not known.
    decimals : int, optional
        Of a value alone.
    """
    if np.isnan(value):
        return "–"
    if not np.isfinite(about) or (about == 0.0 and decimals is not None):
        return f"{value:.{_PLAIN_DECIMALS if decimals is None else decimals}f}"
    digits = decimals_of(about)
    return f"{value:.{digits}f} ± {about:.{digits}f}"
