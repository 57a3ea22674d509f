namespace TankWatch.Tests; public class Placeholder;
