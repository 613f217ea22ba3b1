"""The hold: as written, as resolved, its frame, entry sectors, guidance and the solved lap."""
