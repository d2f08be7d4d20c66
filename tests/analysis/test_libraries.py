"""What a report needs is loaded beforehand, in a process of its own so that nothing is loaded yet."""

import subprocess
import sys

HEAVY = ("scipy.stats", "pandas", "statsmodels.miscmodels.ordinal_model", "matplotlib.backends.backend_svg")
PROGRAM = f"""
import sys
from panel.analysis.libraries import load_in_the_background
before = [name for name in {HEAVY!r} if name in sys.modules]
thread = load_in_the_background()
assert thread.daemon
thread.join()
print(before, [name for name in {HEAVY!r} if name not in sys.modules])
"""


def test_everything_heavy_is_loaded_in_the_background_and_nothing_before():
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[] []"
