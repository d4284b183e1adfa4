"""What drawing limits allow: the clearances of sizes that are still to be made or measured."""
