"""What is kept: the book, its vehicles, engines, visits and readings."""
