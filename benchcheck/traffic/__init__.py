"""What was heard: frames and lines become tallies, tallies become load, gaps and presence."""
