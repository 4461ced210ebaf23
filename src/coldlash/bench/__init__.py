"""What to do at the engine: stops, marks, blades, screw, cooling, cautions. Pure."""
