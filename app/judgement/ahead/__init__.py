"""What lies ahead of a batch that nobody looks at, or keeps a day longer: sleep, a power cut, the hour to start."""
