"""What would mend needs whose places are missed, tried by casting.

`find_mending` finds remedies; `verdict_then` judges a need with one done.
"""

from raycover.proving.mending.finding import find_mending
from raycover.proving.mending.mends import MOST_CHANCES, Mend, Mending
from raycover.proving.mending.then import verdict_then

__all__ = ["MOST_CHANCES", "Mend", "Mending", "find_mending", "verdict_then"]
