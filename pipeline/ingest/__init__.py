"""Bytes in, typed rows out: decode, find the dialect, read records, map headers, parse values."""
