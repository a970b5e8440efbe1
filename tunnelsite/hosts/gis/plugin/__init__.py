"""Entry point that QGIS looks for in a plug-in."""


def classFactory(iface):
    """The plug-in. Arguments: iface, the window of QGIS."""
    from .provider import Plugin

    return Plugin()
