"""The service's calls: one noun a file, each route a few lines."""
