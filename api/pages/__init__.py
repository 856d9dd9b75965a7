"""What people see in a browser: server-rendered pages, each with a frozen dataclass as context."""
