"""What to bend after a reading at the bench, in words."""

from __future__ import annotations

import numpy as np

from recurve.diagnosis.setting import PostToBend


def setting_words(told: PostToBend) -> str:
    """Which post, which way and how far, ± two standard uncertainties; advances are the distributor's."""
    wanted = f"{np.degrees(told.wanted):.1f}°"
    if told.left:
        return f"Leave the {told.name} post alone: it should show {wanted} there, and shows it as nearly as readings can tell."
    way = "outward, away from the other post" if told.bend > 0 else "inward, toward the other post"
    return (
        f"Bend the {told.name} post {abs(told.bend) * 1e3:.2f} ± {2e3 * told.standard_uncertainty:.2f} mm {way}: it should show "
        f"{wanted} there. Stop the bench, bend, run again from a standstill, and read again."
    )
