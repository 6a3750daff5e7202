"""What a report is on disk: places, whole writes, PDF, the keys of its pages and the record of its making."""
