"""Tables and the questions asked of them. Reads never change rows; writes belong to the operations."""
