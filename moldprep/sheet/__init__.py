"""What a plan looks like: record, text, drawings, pictures and paper. Nothing here decides anything."""
