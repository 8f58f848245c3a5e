"""What is handed out: package, lock, bill of materials, changelog, licence, the documentation of commands."""
