"""From a file to what fingers pluck: container, reader, route, tempo, plucks."""
