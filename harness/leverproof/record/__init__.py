"""The record a run leaves: everything needed to judge and report it again, as plain data."""

from leverproof.record.reader import Occurrence, Record, read_record
from leverproof.record.writer import RecordWriter

__all__ = ["Occurrence", "Record", "RecordWriter", "read_record"]
