"""The pages, the HTTP interface and the event stream."""
