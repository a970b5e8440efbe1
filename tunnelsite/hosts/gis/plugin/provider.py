"""The group of tools in the processing toolbox, built from what the installed program says of itself."""

from __future__ import annotations

from pathlib import Path

from qgis.core import Qgis, QgsApplication, QgsMessageLog, QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .program import ProgramError, described
from .tool import Tool

HERE = Path(__file__).parent


class Provider(QgsProcessingProvider):
    """All tools of the installed program."""

    def id(self):
        """The first part of every tool's id."""
        return "tunnelsite"

    def name(self):
        """The heading in the toolbox."""
        return "tunnelsite"

    def icon(self):
        """A house."""
        return QIcon(str(HERE / "icon.svg"))

    def loadAlgorithms(self):
        """Ask the program for its tools and add each; where it does not answer, say why and offer none."""
        try:
            tools = described()
        except ProgramError as problem:
            QgsMessageLog.logMessage(str(problem), "tunnelsite", Qgis.Warning)
            return
        for tool in tools:
            self.addAlgorithm(Tool(tool))


class Plugin:
    """What QGIS starts and ends."""

    def __init__(self):
        self.provider = None

    def initProcessing(self):
        """Add the tools; also called where QGIS runs without a window."""
        self.provider = Provider()
        QgsApplication.processingRegistry().addProvider(self.provider)

    def initGui(self):
        """Add the tools at the start of QGIS."""
        self.initProcessing()

    def unload(self):
        """Take the tools away."""
        QgsApplication.processingRegistry().removeProvider(self.provider)
