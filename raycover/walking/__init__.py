"""The virtual walk test: people's ways through a building, and when each detector notices them."""
