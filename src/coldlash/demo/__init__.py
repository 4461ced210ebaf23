"""The demo book: the workshop of a small island's volunteer transport museum. Everything in it is invented."""
