"""Making reports: the run, ways of work, cluster, many studies, `check` and `verify`."""
