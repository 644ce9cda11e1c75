"""The files of a profile become a Harness, or a list of everything that is wrong in them."""
