"""Cards and labels on paper, read back from rendered pages by an independent reader."""
