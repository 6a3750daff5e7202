"""Where a page came from, the crate, and the comparison of two reports."""
