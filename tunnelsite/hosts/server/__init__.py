"""The catalogue's processes and the screening as OGC API - Processes 1.0 (OGC 18-062r2), on pygeoapi."""
