"""What the doors in keep besides readings: mappings, letters that could not be read, sources.

Flow     columns -> **tables** -> store
"""
