"""What holds for all tests: one thread for algebra in every process, as in a report's kernels.

Workers and kernels that each start as many threads as there are cores wait for one another, and small solves take fifty
times as long. Set here, because it must be set before numpy is loaded, and kernels of notebooks inherit it.
"""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
