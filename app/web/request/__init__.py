"""What one request is: its session, reader, device and moment; where Back leads; what is told when it fails."""
