"""One notebook in one kernel: kernels, their preloaded parent, papermill's engine."""
