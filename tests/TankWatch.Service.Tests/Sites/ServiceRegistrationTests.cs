using System.Text;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Hosting;
using TankWatch.Service.Configuration;
using TankWatch.Service.Ingest;
using TankWatch.Service.Sites;
using TankWatch.Service.Storage;
using TankWatch.Service.Tests.Mail;
using Xunit;

namespace TankWatch.Service.Tests.Sites;

public sealed class ServiceRegistrationTests
{
    [Theory]
    [InlineData(MqttMode.Embedded)]
    [InlineData(MqttMode.External)]
    public async Task Everything_is_composed_starts_takes_a_message_and_stops_in_order(MqttMode mode)
    {
        var stop = TestContext.Current.CancellationToken;
        var folder = Directory.CreateTempSubdirectory("tankwatch-");
        var builder = Host.CreateEmptyApplicationBuilder(new HostApplicationBuilderSettings());
        builder.Services.AddSingleton(TimeProvider.System).AddMetrics().AddLogging();
        var settings = new Settings();
        settings.Data.Path = folder.FullName;
        (settings.Mqtt.Mode, settings.Mqtt.ListenPort, settings.Mqtt.Host, settings.Mqtt.Port) = (mode, MailServer.FreePort(), "127.0.0.1", MailServer.FreePort());
        builder.Services.AddTankWatch(settings, openBroker: true);
        using (var host = builder.Build())
        {
            Assert.Null(host.Services.GetRequiredService<LedgerStore>().PutSite(SampleSite.Plan(SampleSite.Json()), SampleSite.Json()));
            await host.StartAsync(stop);
            await host.Services.GetRequiredService<SiteInbox>().ReceiveAsync(
                new ReceivedMessage("tankwatch/v1/fu-1/status", Encoding.UTF8.GetBytes("{\"online\":true}"), false, TimeProvider.System.GetUtcNow()), stop);
            await host.Services.GetRequiredService<SiteDirectory>().RefreshAsync(stop);
            Assert.Equal(1, Assert.Single(host.Services.GetRequiredService<SiteDirectory>().Sites).Units[0].Accepted);
            Assert.Equal(mode == MqttMode.Embedded, host.Services.GetRequiredService<ReadyState>().IsReady);
            await host.StopAsync(stop);
        }

        folder.Delete(recursive: true);
    }
}
