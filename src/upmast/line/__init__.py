"""The line: items with typed ports, joints between them, walks along them, and the files in which it is kept."""
