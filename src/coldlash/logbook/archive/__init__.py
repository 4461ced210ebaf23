"""Everything in a book as one plain file that can be read without coldlash, and a book from it again.

``fields`` says what each field means, ``shape`` how rows stand in JSON and what the schemas are, ``zipped`` writes and
reads the file itself, ``writing`` makes an archive of a book, ``reading`` a book of an archive.
"""
