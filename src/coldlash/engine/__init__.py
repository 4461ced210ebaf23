"""What the engine is: its file, its firing, its valve train, its heat. Pure: no storage, clock or files."""
