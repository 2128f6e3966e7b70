"""What a batch came to: its measures, the account of its dry matter, and batches side by side."""
