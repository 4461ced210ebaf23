"""The use cases: the only place where logbook, wear, bench and paper meet. Pages and terminal are faces of it."""
