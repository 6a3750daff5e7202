"""What holds for all tests: one thread for algebra in every process, as in a report's kernels, and how many examples.

Workers and kernels that each start as many threads as there are cores wait for one another, and small solves take fifty
times as long. Set here, because it must be set before numpy is loaded, and kernels of notebooks inherit it.
"""

import os

import hypothesis

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

hypothesis.settings.register_profile("quick", max_examples=40)  # others in every run
hypothesis.settings.load_profile("quick")
