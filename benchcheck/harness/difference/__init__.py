"""What differs between two versions of a harness, run by run, and how that is said."""
