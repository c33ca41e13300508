"""Records: what was judged, by whom and when, kept so that it can be trusted years later."""
