"""Values in the data: decoded, tallied, judged."""
