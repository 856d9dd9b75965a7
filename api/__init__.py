"""The counter: command line, service and pages; the only package that joins the others."""
