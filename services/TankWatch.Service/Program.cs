using System.Globalization;
using TankWatch.Service.Commands;

// Numbers and times read the same on every machine.
CultureInfo.DefaultThreadCurrentCulture = CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
CultureInfo.DefaultThreadCurrentUICulture = CultureInfo.CurrentUICulture = CultureInfo.InvariantCulture;

return await CommandLine.RunAsync(args, Terminal.OfProcess());
