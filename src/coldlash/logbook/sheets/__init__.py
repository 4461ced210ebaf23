"""Messy spreadsheets: read into rows of cells, understood column by column, corrected by a person, made into visits.

Pure: bytes and an ``Understanding`` in, visits and faults out; ``logbook.imports`` puts them into the book.
"""
