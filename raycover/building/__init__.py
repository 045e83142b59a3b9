"""From a scene to geometry: tagged sheets and solids in one set of triangles."""
