"""Answers as JSON's own values."""

import math
from typing import Any


def plain(value: Any) -> Any:
    """`value` with frames, arrays, numpy's types and mappings turned into JSON's own; NaN and infinity become None.

    Frames and arrays are known by what they can, so that who has none need not wait for pandas.
    """
    if hasattr(value, "tolist"):  # arrays, columns of frames, numbers of numpy
        return plain(value.tolist())
    if hasattr(value, "items"):  # mappings and frames
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
