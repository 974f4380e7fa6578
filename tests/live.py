"""The live service, for browser journeys and for clients that speak HTTP."""
