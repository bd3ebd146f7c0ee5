"""Reports: folds over the record and nothing else. Each has ``render(record) -> str``."""
