"""Who may ask for what: peer, gate, roles, pairing, and what every answer must keep to."""
