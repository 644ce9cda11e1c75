"""From a table under any headings to the pin table or a unit type file, and back. Pure: fed with cells, gives texts."""
