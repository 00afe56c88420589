"""shared"""
